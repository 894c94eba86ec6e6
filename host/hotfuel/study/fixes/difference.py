"""The difference of two sides' runs in one number: what counts as independent, what the sides shared, and what widens the interval."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hotfuel.places import probe_of
from hotfuel.study.evidence import intervals, mixed
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.fixes import positions
from hotfuel.study.fixes.faults import DISAGREE_DEGC
from hotfuel.study.fixes.summaries import Cell, Run

# By how much hot places follow outside air, and its standard uncertainty: an assumption, which every report states. Degree for degree
# over-corrects by a third in a second thermal model; a thermostat and boiling fuel hold hot places back.
SLOPE, SLOPE_U = 0.8, 0.15
# of a tank's warmer start none to all is still there later, of a place that began warm none to all is its probe's error: root mean square of a share
# uniform from 0 to 1
STOCK_U = 1 / np.sqrt(3)
# What a day does to a car beyond its outside air (wind, sun, the fuel bought, traffic), standard: an assumption, no source.
DAY_U_DEGC = 1.5
DRIFT_FROM_RUNS = 4  # a side; fewer leave no interval worth having when a drift is taken out
# with this many runs, over this span within the sides, the slope over outside air is estimated
SLOPE_RUNS, SLOPE_SPAN_DEGC = (
    8,
    6.0,
)
_LEAST_PAIRS = 4  # fewer leave less than three degrees of freedom, and the interval is wider than that of single runs


def estimated(a: Sequence[Run], b: Sequence[Run], cell: Cell, driven: Sequence[Run] = ()) -> Estimate:
    """The estimate of b minus a for one cell, degC; untested where a side has one independent run only.

    Pooled t below five a side, Welch or a mixed model above. Where the order of the runs is known, every day or session holds its runs in a balanced
    order, and three degrees of freedom remain, the position in the day is fitted too, which makes the interval narrower. driven: all runs compared, whose
    positions in the day count too.
    """
    both = [*a, *b]
    each = y = np.array([run.values[cell] for run in both])
    side = np.array([False] * len(a) + [True] * len(b))
    group, unit = shared(a, b)
    crossed = set(group[~side]) & set(group[side])
    position_in_day = positions.fitted(a, b, group, driven)
    air = np.array([run.ambient_degc for run in both])
    if not crossed:
        # Runs of one group share whatever was special about it: the group is the unit.
        air = _group_means(air, side, group)[0]
        y, side = _group_means(y, side, group)
    sloped = not crossed and position_in_day is None and _slope_is_estimated(air, side)
    n, m = int((~side).sum()), int(side.sum())
    if min(n, m) < 2:
        return intervals.described(each[: len(a)], each[len(a) :])
    if crossed and min(n, m) >= intervals.WELCH_FROM_RUNS and len(set(group)) > 1:
        estimate = mixed.random_sessions(y, side, group, position_in_day)
        estimate = replace(estimate, method=f"mixed model, {unit}s random")
    elif crossed:
        blocks = np.column_stack([(group == s).astype(float) for s in sorted(set(group))[1:]] or [np.zeros(len(y))])
        columns = blocks if position_in_day is None else np.column_stack([blocks, position_in_day])
        estimate = intervals.linear(y, side, columns, f"pooled t within {unit}s")
    elif min(len(a), len(b)) >= DRIFT_FROM_RUNS and positions.in_turn_on_one_day(a, b):
        hours = np.array([[run.start_s / 3600] for run in both])
        estimate = intervals.linear(y, side, hours - hours.mean(), "pooled t")
        estimate = replace(estimate, adjusted=(intervals.DAY_DRIFT,))
    elif position_in_day is not None:
        estimate = intervals.linear(y, side, position_in_day, "pooled t")
    elif sloped:
        estimate = intervals.linear(y, side, air[:, None], "pooled t")
        estimate = replace(estimate, adjusted=(intervals.AIR_SLOPE,))
    else:
        estimate = intervals.two_sample(y[~side], y[side])
    if position_in_day is not None:
        estimate = replace(estimate, adjusted=(*estimate.adjusted, intervals.POSITION))
    if not crossed and len(y) < len(both):
        estimate = replace(estimate, unit=unit)
    return _widened(estimate, a, b, cell.place, sloped)


def _slope_is_estimated(air: np.ndarray, side: np.ndarray) -> bool:
    """Whether outside air varied enough within the sides (not between them) to estimate its effect; judged by the design alone, not by the answer."""
    if len(air) < SLOPE_RUNS or not np.isfinite(air).all():
        return False
    within = np.where(side, air - air[side].mean(), air - air[~side].mean())
    return bool(np.ptp(within) >= SLOPE_SPAN_DEGC)


def shared(a: Sequence[Run], b: Sequence[Run]) -> tuple[np.ndarray, str]:
    """(what each run of a, then of b shares with others (n,) of text, "session" or "day"): a session that holds both sides, else the day.

    Runs of one day share its wind, sun and fuel. That does not matter where all were driven on one day, and errs on the careful side where no side was
    driven twice on any day: then runs count one by one, unless there are enough pairs to take the days out. Runs of a side that was driven on a single day
    count one by one too; what days differ by is then assumed (DAY_U_DEGC), because these runs cannot show it.
    """
    session = np.array([run.session for run in (*a, *b)])
    if set(session[: len(a)]) & set(session[len(a) :]) or day_share(a, b):
        return session, "session"
    day = np.array([run.day or run.session for run in (*a, *b)])
    twice = max((*Counter(day[: len(a)]).values(), *Counter(day[len(a) :]).values())) > 1
    pairs = not twice and len(set(day)) * 2 == len(day) and len(set(day)) >= _LEAST_PAIRS
    return (day, "day") if len(set(day)) > 1 and (twice or pairs) else (session, "session")


def day_share(a: Sequence[Run], b: Sequence[Run]) -> float:
    """Variance of the difference, in single days' variances, where all of a side's several runs are of one day and none of the other's is; else 0."""
    first, second = ({run.day for run in side} for side in (a, b))
    lone = any(len(side) > len(days) == 1 for side, days in ((a, first), (b, second)))
    return 1 / len(first) + 1 / len(second) if lone and not first & second and "" not in first | second else 0.0


def _group_means(y: np.ndarray, side: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rows = [group == name for name in dict.fromkeys(group)]
    return np.array([y[r].mean() for r in rows]), np.array([side[r][0] for r in rows])


def own_sensors(a: Sequence[Run], b: Sequence[Run], place: str) -> tuple[set[str], set[str]]:
    """(sensors at that place used on the first side only, on the second side only)."""
    first, second = ({run.sensor[place] for run in side if run.sensor and place in run.sensor} for side in (a, b))
    return first - second, second - first


def cold_drift_degc(a: Sequence[Run], b: Sequence[Run], place: str) -> float:
    """How much the probe at that place moved between the sides, by what it read cold beside the others; nan where a side has no such start."""
    means = [np.mean(read) if (read := _cold(side, place)) else np.nan for side in (a, b)]
    return float(means[1] - means[0])


def _cold(side: Sequence[Run], place: str) -> list[float]:
    return [run.cold_degc[place] for run in side if run.cold_degc and place in run.cold_degc]


def unmatched_cold_degc(a: Sequence[Run], b: Sequence[Run], place: str) -> float:
    """How much more the probe at that place may read in b than in a, where its cold readings were off on one side and the other side has none; else 0.

    Off: by more than probes may differ. The furthest reading counts, as if the probe had been right on the other side.
    """
    first, second = _cold(a, place), _cold(b, place)
    if bool(first) == bool(second):
        return 0.0
    furthest = max(first or second, key=abs)
    if abs(furthest) <= DISAGREE_DEGC:
        return 0.0
    return float(furthest if second else -furthest)


def _perhaps_degc(a: Sequence[Run], b: Sequence[Run], place: str) -> float:
    """How much more the probe at that place may read in b than in a, where it alone began warm on one side."""
    found = [[run.perhaps_degc[place] for run in side if run.perhaps_degc and place in run.perhaps_degc] for side in (a, b)]
    first, second = (float(np.mean(side)) if side else 0.0 for side in found)
    return second - first


def _widened(estimate: Estimate, a: Sequence[Run], b: Sequence[Run], place: str, sloped: bool) -> Estimate:
    """The estimate with the uncertainty of everything that the sides did not share.

    A sensor that both share errs equally on both and drops out of the difference; one that they do not share adds its uncertainty. So do guessed outside
    air, the assumed slope over it where the sides' days differed (unless it was estimated), what may be left of a warmer start, a probe that moved by its
    cold readings or may read high, and the day itself where a side had only one.
    """
    variance = _conditions_variance(a, b, sloped) + float(np.nan_to_num(cold_drift_degc(a, b, probe_of(place)))) ** 2
    variance += unmatched_cold_degc(a, b, probe_of(place)) ** 2 + (STOCK_U * _perhaps_degc(a, b, probe_of(place))) ** 2
    for own, runs in zip(own_sensors(a, b, place), (a, b), strict=True):
        for name in own:
            read = [run for run in runs if run.sensor and run.sensor.get(place) == name]
            largest = max((run.sensor_u_degc or {}).get(place, 0.0) for run in read)
            variance += (largest * len(read) / len(runs)) ** 2
    return estimate.widened(float(np.sqrt(variance)))


def _conditions_variance(a: Sequence[Run], b: Sequence[Run], sloped: bool) -> float:
    guessed = sum((sum(run.ambient_u_degc for run in side) / len(side)) ** 2 for side in (a, b))
    air, stock = (
        float(np.nan_to_num(np.mean([getattr(run, name) for run in b]) - np.mean([getattr(run, name) for run in a])))
        for name in ("ambient_degc", "stock_degc")
    )
    air = 0.0 if sloped else air
    answer: float = guessed + (SLOPE_U * air) ** 2 + (STOCK_U * stock) ** 2 + day_share(a, b) * DAY_U_DEGC**2
    return answer
