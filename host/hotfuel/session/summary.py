"""The numbers a reader wants first: hottest, smallest margin, when, where; for the whole recording and for each place.

Extremes, and the numbers beside a smallest margin, are means over ten seconds; durations count every reading.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from hotfuel_wire.alarm import ON_DELAY_MS

from hotfuel.places import behind_needle, is_behind_needle, is_named_air, probe_of
from hotfuel.risk.level import BEYOND, NO_LIMIT, Level, among, is_beyond
from hotfuel.risk.margin import MarginTable, PlaceMargin
from hotfuel.session.means import SecondMeans
from hotfuel.units import expanded

SILENT_S = 60.0  # longer without a reading can hide what matters: a hot stop lasts minutes
UNREAD_S = 20.0  # what fuel does in less can be told from the readings around it: it follows a stop within minutes (common practice, no source)


@dataclass(frozen=True)
class PlaceSummary:
    """One place (or needle). Numbers are nan and times NaT where there is nothing; durations in s of the time with readings."""

    place: str
    hottest_degc: float
    hottest_at: Any
    coldest_degc: float
    smallest_margin_degc: float = np.nan
    smallest_margin_at: Any = pd.NaT
    uncertainty_degc: float = np.nan  # of that smallest margin
    temperature_there_degc: float = np.nan
    limit_there_degc: float = np.nan
    pressure_there_kpa: float = np.nan
    vapour_liquid_ratio_there: float = np.nan
    inside_uncertainty_s: float = 0.0  # margin below its uncertainty, act included
    beyond_limit_s: float = 0.0
    beyond_doubt_s: float = 0.0  # of beyond_limit_s: by more than the 95 % doubt, or no limit was left
    lost_s: float = 0.0
    unread_s: float = 0.0  # of stretches of UNREAD_S or more without a reading, those between two parts of a recording too
    doubt: str = ""  # in a few words, why readings there count as none
    suspected: str = ""  # in a few words, why readings there may be none although they count
    suspected_s: float = 0.0  # from the first to the last of these, added up over their stretches
    criterion: str = ""
    basis: str = ""
    # the worst reason why there was none, where that lasted as long as an alarm needs; it counts as beyond the limit
    no_limit: Level | None = None
    no_limit_s: float = 0.0
    no_limit_from: Any = pd.NaT
    no_limit_kpa: float = np.nan  # the lowest pressure then


@dataclass(frozen=True)
class Summary:
    """The whole recording. hottest: the hottest place; smallest: the place of the smallest margin; without_limit: the place whose pressure left no limit,
    impossible before too low, then the longest; it comes before the smallest margin; None where there is none.
    """

    started: Any
    ended: Any
    duration_s: float
    recorded_s: float  # without gaps
    readings: int
    places: dict[str, PlaceSummary] = field(default_factory=dict)
    hottest: PlaceSummary | None = None
    smallest: PlaceSummary | None = None
    without_limit: PlaceSummary | None = None
    unheard_s: float = 0.0  # the recorder listened for so long after the last reading
    hottest_is_fuel: bool = True  # False where no car file tells which places hold fuel

    @property
    def fuel(self) -> list[PlaceSummary]:
        """The probes in the fuel; all where no car file tells them."""
        probes = [place for place in self.places.values() if not is_behind_needle(place.place)]
        return [place for place in probes if place.criterion] or probes

    @property
    def unread(self) -> list[PlaceSummary]:
        """Those of `fuel` that were not read for long: whatever is said of the others is said without them."""
        return [place for place in self.fuel if place.unread_s > SILENT_S]

    @property
    def suspected(self) -> list[PlaceSummary]:
        """Those of `fuel` whose probe may not have read it for long: whatever is said of the fuel rests on them too."""
        return [place for place in self.fuel if place.suspected_s > SILENT_S]

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON: times as ISO text (or seconds), nan as None."""
        return {key: _plain(value) for key, value in asdict(self).items()}


def summarise(
    temperatures: pd.DataFrame,
    table: MarginTable | None,
    limited: frozenset[str] | set[str],
    longest_step_s: float,
    unheard_s: float = 0.0,
    doubts: Mapping[str, str] | None = None,
    means: SecondMeans | None = None,
    suspected: Mapping[str, tuple[str, float]] | None = None,
) -> Summary:
    """temperatures: columns "<place>_degc"; table: their margins or None; limited: places whose hottest counts for the headline
    (they hold fuel).

    longest_step_s: a longer step between two rows is a gap and counts for no duration. unheard_s: how long no reading came at the end.
    doubts: {place: in a few words why readings there count as none}. means: of the temperatures' rows, where they are there already.
    suspected: {place: (in a few words why readings there may be none, for how long, s)}.
    """
    index = temperatures.index
    if not len(index):
        return Summary(pd.NaT, pd.NaT, 0.0, 0.0, 0)
    means = SecondMeans(index_seconds(index)) if means is None else means
    seconds = means.seconds
    step = np.zeros(len(seconds))
    np.subtract(seconds[1:], seconds[:-1], out=step[:-1])
    step[step > longest_step_s] = 0.0
    judged = table.places if table is not None else {}
    places = {}
    for column in temperatures.columns:
        name = column.removesuffix("_degc")
        read = places[name] = _of_probe(name, temperatures[column].to_numpy(), index, step, means, unheard_s)
        for at in (name, behind_needle(name)):
            if at in judged:
                places[at] = _of_margin(replace(read, place=at), judged[at], index, step, means)
    for name, place in places.items():
        why, lasted_s = (suspected or {}).get(probe_of(name), ("", 0.0))
        places[name] = replace(place, doubt=(doubts or {}).get(probe_of(name), ""), suspected=why, suspected_s=lasted_s)
    hot = [
        p
        for name, p in places.items()
        if np.isfinite(p.hottest_degc) and (name in limited or not limited) and not is_behind_needle(name)
    ]
    if not limited:
        hot = [p for p in hot if not is_named_air(p.place)] or hot
    near = [p for p in places.values() if np.isfinite(p.smallest_margin_degc)]
    without = [p for p in places.values() if p.no_limit]
    return Summary(
        index[0], index[-1], float(seconds[-1] - seconds[0]), float(step.sum()), len(index), places,
        max(hot, key=lambda p: p.hottest_degc, default=None), min(near, key=lambda p: p.smallest_margin_degc, default=None),
        max(without, key=lambda p: (p.no_limit == Level.IMPOSSIBLE_PRESSURE, p.no_limit_s), default=None), unheard_s, bool(limited),
    )  # fmt: skip


def index_seconds(index: pd.Index) -> np.ndarray:
    """Seconds of a time index: unix seconds for dates, else since zero."""
    assert isinstance(index, pd.DatetimeIndex | pd.TimedeltaIndex)
    return np.asarray(index.as_unit("us").asi8 / 1e6)


def _of_probe(
    name: str, values: np.ndarray, index: pd.Index, step: np.ndarray, means: SecondMeans, unheard_s: float
) -> PlaceSummary:
    """What its temperatures alone say."""
    degc = means.smoothed(values)
    measured = np.isfinite(degc).any()
    at = int(np.nanargmax(degc)) if measured else 0
    hottest, coldest = (float(degc[at]), float(np.nanmin(degc))) if measured else (np.nan, np.nan)
    when = index[means.samples(at)[0]] if measured else pd.NaT
    lost_s = float(step[np.isnan(values)].sum())
    return PlaceSummary(name, hottest, when, coldest, lost_s=lost_s, unread_s=_unread_s(values, means, unheard_s))


def _of_margin(read: PlaceSummary, margin: PlaceMargin, index: pd.Index, step: np.ndarray, means: SecondMeans) -> PlaceSummary:
    """read: what the temperatures of its probe say."""
    with np.errstate(invalid="ignore"):
        beyond = is_beyond(margin.margin_degc) | among(margin.state, BEYOND)
    near = beyond | among(margin.state, (Level.WARN,))
    past = np.flatnonzero(beyond)
    with np.errstate(invalid="ignore"):
        surely = margin.margin_degc[past] <= -expanded(margin.uncertainty_degc[past])
    surely |= among(margin.state[past], NO_LIMIT)
    found = replace(
        read,
        inside_uncertainty_s=float(step[near].sum()),
        beyond_limit_s=float(step[past].sum()),
        beyond_doubt_s=float(step[past[surely]].sum()),
        criterion=margin.criterion.text,
        basis=margin.basis,
        **_without_limit(margin, index, step),
    )
    if not np.isfinite(margin.margin_degc).any():
        return found
    left = means.smoothed(margin.margin_degc)
    least = int(np.nanargmin(left))
    return replace(
        found,
        smallest_margin_degc=float(left[least]),
        smallest_margin_at=index[means.samples(least)[0]],
        uncertainty_degc=means.about(least, margin.uncertainty_degc),
        temperature_there_degc=means.about(least, margin.temperature_degc),
        limit_there_degc=means.about(least, margin.limit_degc),
        pressure_there_kpa=means.about(least, margin.pressure_kpa),
        vapour_liquid_ratio_there=means.about(least, margin.vapour_liquid_ratio),
    )


def _unread_s(values: np.ndarray, means: SecondMeans, unheard_s: float) -> float:
    """How long the stretches were in which no reading came, from the first row to `unheard_s` after the last."""
    began, ended = means.seconds[0], means.seconds[-1] + unheard_s
    # the seconds with a reading: it can have been long only between two that are far apart
    read = np.flatnonzero(np.isfinite(means.mean(values)))
    if not read.size:
        return float(ended - began) if ended - began >= UNREAD_S else 0.0

    def reading_s(second: int, which: int) -> float:
        samples = means.samples(second)
        return float(means.seconds[samples[np.isfinite(values[samples])][which]])

    far = np.flatnonzero(np.diff(means.time_s[read]) >= UNREAD_S - 1)
    froms = [began, *(reading_s(second, -1) for second in read[[*far, -1]])]
    untils = [*(reading_s(second, 0) for second in read[[0, *(far + 1)]]), ended]
    without = np.subtract(untils, froms)
    return float(without[without >= UNREAD_S].sum())


def _without_limit(margin: PlaceMargin, index: pd.Index, step: np.ndarray) -> dict[str, Any]:
    """The fields no_limit... of a PlaceSummary; none for less than an alarm's delay, which a single spoilt pressure reading can be."""
    rows = among(margin.state, NO_LIMIT)
    lasted_s = float(step[rows].sum())
    if 1000 * lasted_s < ON_DELAY_MS:
        return {}
    worst = max((level for level in NO_LIMIT if (margin.state == level).any()), key=lambda level: level.urgency)
    lowest = float(margin.pressure_kpa[rows].min())
    return {"no_limit": worst, "no_limit_s": lasted_s, "no_limit_from": index[int(rows.argmax())], "no_limit_kpa": lowest}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain("" if key == "no_limit" and entry is None else entry) for key, entry in value.items()}
    if isinstance(value, Level):
        return value.words
    if value is pd.NaT or value is None:
        return None
    if isinstance(value, pd.Timestamp):
        return value.isoformat()
    if isinstance(value, pd.Timedelta):
        return value.total_seconds()
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value
