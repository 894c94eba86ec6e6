"""What a change did for power: pulls aligned on engine speed, the gain with its interval, a band for the whole curve, and what physics allows.

Gains are per cent of the baseline's power. Nothing here is tuned to a published gain.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.intervals import Estimate
from hotfuel.study.evidence.order import balanced_order
from hotfuel.study.power import alike, correction, decided, driven, peaks, weathers
from hotfuel.study.power.curves import Bins, bins, two_engines
from hotfuel.study.power.gain import MIXTURE_SHIFTED, NOT_SEPARABLE, SEPARABLE, Gain, Side, gain
from hotfuel.study.power.pulls import Pull
from hotfuel.study.power.remarks import Remark
from hotfuel.study.power.weathers import WeatherNote

__all__ = ["MIXTURE_SHIFTED", "NOT_SEPARABLE", "SEPARABLE", "Curve", "Gain", "PowerComparison", "compare_pulls", "units_of"]


@dataclass(frozen=True)
class Curve:
    """A variant's power over engine speed (k,): mean of its pulls with the 95 % interval of the mean (nan for one pull), and each pull (pulls, k), kW."""

    name: str
    pulls: int
    rpm: np.ndarray
    mean_kw: np.ndarray
    low_kw: np.ndarray
    high_kw: np.ndarray
    each_kw: np.ndarray
    factor: float | None

    def torque_nm(self, power_kw: np.ndarray) -> np.ndarray:
        """The torque at these powers (..., k)."""
        return np.asarray(power_kw * 1000 / (self.rpm * 2 * np.pi / 60))


@dataclass(frozen=True)
class PowerComparison:
    """Curves of all variants, gains of all but the baseline, and the conditions they hold under; `hotfuel.report.power_words` puts it into sentences.

    order_by: what tells the order of the pulls (driven.BY_...). mapping: {pull: what was read from where}; remarks: {pull: what
    was left out or found in its file}. units: "us" or "si", as most of the files.
    delta_percent: the smallest gain worth having.
    """

    baseline: str
    standard: str | None
    band_rpm: tuple[float, float]
    curves: tuple[Curve, ...]
    said: tuple[peaks.Said, ...]
    gains: tuple[Gain, ...]
    order_by: str
    pauses: tuple[float, ...]
    cautions: tuple[WeatherNote, ...]
    mapping: dict[str, tuple[str, ...]]
    remarks: dict[str, tuple[Remark, ...]]
    unit_check: dict[str, float]
    proposed_order: tuple[str, ...]
    absolute_figures_count: bool
    units: str = "si"
    days: tuple[str, ...] = ()  # on which the pulls were driven, where the files tell
    air: tuple[correction.Weather, ...] = ()  # of each pull, in its file, or given
    delta_percent: float = verdicts.DELTA_POWER_PERCENT

    def read_from(self) -> list[tuple[list[str], float]]:
        """(pulls, power over torque x speed), one entry for all pulls read in the same way."""
        found: dict[tuple[object, ...], tuple[list[str], float]] = {}
        for name, check in self.unit_check.items():
            found.setdefault((self.mapping[name], self.remarks[name], f"{check:.3f}"), ([], check))[0].append(name)
        return list(found.values())

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON; `hotfuel.report.power_words.as_dict` adds the sentences, those on the files too."""
        return {
            **{key: value for key, value in vars(self).items() if key != "remarks"},
            "air": [vars(one) for one in self.air],
            "cautions": [vars(one) for one in self.cautions],
            "said": [one.as_dict() for one in self.said],
            "curves": [{**vars(curve), "mean_nm": curve.torque_nm(curve.mean_kw)} for curve in self.curves],
            "gains": [gain.as_dict() for gain in self.gains],
        }


def compare_pulls(
    groups: Mapping[str, Sequence[Pull]],
    baseline: str | None = None,
    *,
    weather: Mapping[str, correction.Weather] | None = None,
    standard: str = "SAE J1349",
    already_corrected: bool | None = None,
    order: Sequence[str] | None = None,
    fuel_degc: Mapping[str, float] | None = None,
    fuel_half_degc: Mapping[str, float] | None = None,
    margin_degc: Mapping[str, float] | None = None,
    delta_percent: float = verdicts.DELTA_POWER_PERCENT,
    bin_rpm: float | None = None,
    band_rpm: tuple[float, float] | None = None,
) -> PowerComparison:
    """Compare pulls of variants {name: pulls} with the baseline (default: the first name).

    weather: {name: Weather}, for all or for none, instead of what the files hold; already_corrected answers what a file leaves open. order: pull names
    in the order they were driven; without it times, running numbers or names tell. An order that lets a drift look like a gain, or that nobody knows,
    gives no verdict, nor do sides that differ in gear, sweep, smoothing or start temperature (alike.unlike). fuel_degc: fuel temperature by variant
    where the files hold none, known to fuel_half_degc (95 %); margin_degc: its smallest margin to boiling,
    reported beside the gain. band_rpm: the speeds averaged over.

    Raises InputError, one sentence, for fewer than two variants, a pull given twice, no common engine speeds, two engines, a corrected file without
    that answer or beside one that is not, weather for some variants only, sides whose factors differ by more than 3 %.
    """
    base = _checked(groups, baseline, delta_percent)
    correction.check(standard)
    factors = weathers.factors(groups, weather, standard, already_corrected)
    two_engines(groups)
    every = [pull for pulls in groups.values() for pull in pulls]
    grid = bins(every, bin_rpm, band_rpm)
    order_known = driven.in_order(groups, order)
    each_once(groups)
    sides = {
        name: _side(name, pulls, grid, factors.of[name], (fuel_degc or {}).get(name), (margin_degc or {}).get(name))
        for name, pulls in groups.items()
    }
    others = [name for name in groups if name != base]
    fits: dict[str, tuple[decided.Fit, Estimate | None]] = {}
    for name in others:
        values = sides[base].values, sides[name].values
        fit = decided.fit(*values, order_known.turns.get(base), order_known.turns.get(name), order_known.pauses)
        fits[name] = fit, fit.estimate(*values)
    apart = {name: alike.unlike(base, groups[base], name, groups[name], air_corrected=factors.corrected) for name in others}
    words = dict(
        zip(others, decided.decide([fits[name] for name in others], delta_percent, [bool(apart[n]) for n in others]), strict=True)
    )
    gains = tuple(
        gain(
            sides[base],
            sides[name],
            grid,
            *fits[name],
            words[name],
            apart[name],
            delta_percent=delta_percent,
            fuel_half_degc=fuel_half_degc or {},
        )
        for name in others
    )
    open_still = any(one.verdict not in verdicts.DECIDED for one in gains)
    return PowerComparison(
        baseline=base,
        standard=standard if factors.corrected else None,
        band_rpm=grid.band,
        curves=tuple(_curve(side, grid, factors.mean(name)) for name, side in sides.items()),
        said=tuple(side.said for side in sides.values()),
        gains=gains,
        order_by=order_known.by,
        pauses=order_known.pauses,
        cautions=factors.cautions,
        mapping={pull.name: pull.mapping for pull in every},
        remarks={pull.name: pull.remarks for pull in every},
        unit_check={pull.name: pull.unit_check for pull in every},
        proposed_order=tuple(balanced_order(list(groups), 4, seed=len(groups))) if open_still else (),
        absolute_figures_count=factors.absolute_figures_count,
        units=units_of(every) or "si",
        days=tuple(sorted({pull.facts.driven_at.date().isoformat() for pull in every if pull.facts.driven_at is not None})),
        air=tuple(weather.values()) if weather else tuple(pull.facts.weather for pull in every if pull.facts.weather is not None),
        delta_percent=delta_percent,
    )


def units_of(pulls: Sequence[Pull]) -> str:
    """ "us" or "si", as most of the files are; "" where none tells."""
    us = sum(pull.system == "us" for pull in pulls)
    si = sum(pull.system == "si" for pull in pulls)
    return "" if us == si == 0 else "us" if us > si else "si"


def _checked(groups: Mapping[str, Sequence[Pull]], baseline: str | None, delta_percent: float) -> str:
    names = list(groups)
    base = baseline if baseline is not None else (names[0] if names else "")
    if base not in groups:
        raise InputError(f'there is no variant "{base}" to compare with: there are {", ".join(names) or "none"}')
    if len(names) < 2:
        raise InputError(f'only the variant "{base}" was given: name at least two to compare')
    if not delta_percent > 0:
        raise InputError(f"a gain worth having of {delta_percent:g} % was given: it must be above 0")
    empty = [name for name in names if not groups[name]]
    if empty:
        raise InputError(f"{empty[0]} has no pull: give at least one file for each variant")
    return base


def each_once(groups: Mapping[str, Sequence[Pull]]) -> None:
    """Raises InputError where one pull was given twice: it would count as two. Two pulls are never equal to the last digit."""
    seen: dict[bytes, str] = {}
    for name, pulls in groups.items():
        for pull in pulls:
            figures = pull.rpm.tobytes() + pull.power_kw.tobytes()
            if figures in seen:
                raise InputError(
                    f"{pull.name} ({name}) has the same figures as {seen[figures]}: a pull counts once, give each file once"
                )
            seen[figures] = f"{pull.name} ({name})"


def _side(
    name: str, pulls: Sequence[Pull], grid: Bins, factors: np.ndarray, stated_fuel: float | None, margin: float | None
) -> Side:
    logs = np.array([grid.mean_log_power(pull) for pull in pulls]) + np.log(factors)[:, None]
    fuel = grid.side_mean(pulls, "fuel_degc")
    if np.isnan(fuel):
        fuel = float(np.mean([pull.facts.fuel_degc for pull in pulls]))
    if np.isnan(fuel) and stated_fuel is not None:
        fuel = stated_fuel
    beside = {
        "fuel_degc": fuel,
        "margin_degc": np.nan if margin is None else margin,
        "intake_degc": float(np.mean([pull.facts.intake_degc for pull in pulls])),
        "lambda_ratio": grid.side_mean(pulls, "lambda_ratio"),
        "spark_deg": float(np.mean([pull.facts.spark_deg for pull in pulls])),
        "air_flow": grid.side_mean(pulls, "air_flow"),
    }
    said = peaks.said(name, pulls, *grid.band, factors, beside)
    return Side(name, pulls, logs, 100 * logs.mean(axis=1), said)


def _curve(side: Side, grid: Bins, factor: float | None) -> Curve:
    mean, count = side.logs.mean(axis=0), len(side.logs)
    half = np.full(len(mean), np.nan)
    if count > 1:
        one = Estimate(0.0, 1.0, count - 1, 1.0, count, count, "")
        half = one.half_width() * side.logs.std(axis=0, ddof=1) / np.sqrt(count)
    return Curve(side.name, count, grid.rpm, np.exp(mean), np.exp(mean - half), np.exp(mean + half), np.exp(side.logs), factor)
