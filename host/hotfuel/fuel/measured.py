"""A fuel from its data sheet: route, doubts, composition, anchor and onset together. hotfuel.fuel.Fuel wraps the result."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import classes, fit, flash, onset, routes, volatility
from hotfuel.fuel.measurements import Measurements
from hotfuel.fuel.questions import apart, doubts, require_kpa, widened
from hotfuel.fuel.usual import Usual, usual
from hotfuel.units import Shown

_T_VL20_SIGMA_DEGC = 1.0  # of T(V/L=20) in the fit of the composition; the anchor takes up the rest
_SI = Shown()
_TOLD_APART_DEGC = 1.5  # from this difference on the other route's value is shown beside the limit


@dataclass(frozen=True)
class MeasuredFuel:
    """The fuel computed from a data sheet; the fields are those of hotfuel.fuel.Fuel."""

    route: str
    feed: flash.Feed
    limit_uncertainty_degc: float
    onset_uncertainty_degc: float
    notes: tuple[str, ...]
    questions: tuple[str, ...]
    edition: str | None
    other_route_degc: float | None
    other_route: str
    assumed: str


@lru_cache(maxsize=64)
def measured_fuel(data: Measurements, shown: Shown = _SI) -> MeasuredFuel:
    """One fit per data sheet; a car file read twice costs it once. Its sentences are in the units of `shown`.

    Raises InputError where no gasoline has these figures.
    """
    data.check(shown)
    classes.refuse_class_maxima(data)
    require_kpa(data, shown)
    try:
        ordinary = usual(data.vapour_pressure_kpa, data.ethanol_vol)
    except InputError:
        raise InputError(apart(data, shown)) from None
    found = routes.route(data, ordinary)
    in_doubt = doubts(data, ordinary, found, shown)
    target = found.t_vl20_degc if data.t_vl20_degc is None else data.t_vl20_degc
    sigma = found.sigma_degc if data.t_vl20_degc is None else routes.EQUATION_DEGC
    try:
        feed, missed = _feed(data, ordinary, target)
    except InputError:
        raise InputError(apart(data, shown)) from None
    ethanol = float(volatility.plateau_share(data.ethanol_vol))
    onset_sigma = onset.ONSET_DEGC + (onset.ONSET_ETHANOL_DEGC - onset.ONSET_DEGC) * ethanol
    words, notes, other, other_words = _in_words(data, found, shown)
    return MeasuredFuel(
        words,
        feed,
        widened(float(np.hypot(sigma, missed)), in_doubt),
        widened(onset_sigma, in_doubt),
        (*(doubt.sentence for doubt in in_doubt if not doubt.asks), *notes),
        tuple(doubt.sentence for doubt in in_doubt if doubt.asks),
        "ASTM D4814-18 appendix X2" if found.credit and data.t_vl20_degc is None else None,
        other,
        other_words,
        _assumed(data),
    )


def _assumed(data: Measurements) -> str:
    """Which of hotfuel.fuel.fuel.ASSUMED a data sheet leaves to be assumed; a measured T(V/L=20) settles the limit."""
    if data.t_vl20_degc is not None:
        return ""
    if not data.for_fit():
        return "distillation"
    if not data.ethanol_given:
        return "ethanol"
    return "t10" if data.t10_assumed else ""


def _feed(data: Measurements, ordinary: Usual, t_vl20_degc: float) -> tuple[flash.Feed, float]:
    """(the fuel, how far its T(V/L=20) is from the one wanted, degC). Where the anchor is limited, as on narrow cuts, the further the first fit
    missed T(V/L=20), the more weight it gets in the composition."""
    missed, start = 0.0, None
    for _ in range(2):
        figures = {**data.for_fit(), "t_vl20_degc": (t_vl20_degc, _T_VL20_SIGMA_DEGC / (1 + 10 * missed))}
        figures = ordinary.softened(figures)
        start = ordinary.tilt_with(figures) if start is None else start
        figures["vapour_pressure_kpa"] = data.vapour_pressure_kpa, 0.02
        feed = fit.anchored(fit.composition(fit.Data(data.ethanol_vol, figures), start), t_vl20_degc)
        missed = abs(fit.t_vl20_degc(feed) - t_vl20_degc)
        if missed < 0.01:
            break
    feed = onset.with_published_onset(feed, data.vapour_pressure_kpa, data.ethanol_vol)
    fit.require_boiling_bit_by_bit(feed)
    return feed, missed


def _in_words(data: Measurements, found: routes.Route, shown: Shown) -> tuple[str, list[str], float | None, str]:
    """(the route in words, notes, the other route's value in degC where it is worth showing, the other route in words)."""
    if data.t_vl20_degc is not None:
        return "measured T(V/L=20)", [], None, ""
    notes = []
    if data.ethanol_vol >= classes.TRACE_ETHANOL_VOL and found.credit:
        notes.append(
            f"Ethanol: estimate; the linear equation of ASTM D4814 alone can read up to {shown.text(7.0, 'temperature difference', 0)} too high on "
            "such blends."
        )
    if not found.credit:
        missing = [name for name, value in (("T10", data.t10_degc), ("T50", data.t50_degc)) if value is None]
        if data.ethanol_vol >= 20:
            why = f"With {data.ethanol_vol:g} % ethanol the linear equation of ASTM D4814 does not hold (less than 20 %)"
        elif missing:
            why = f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} not given, which the linear equation of ASTM D4814 needs"
        elif data.vapour_pressure_kpa <= 15:
            why = "The vapour pressure is below the range of the linear equation of ASTM D4814"
        else:
            why = "T10 is above the range of the linear equation of ASTM D4814"
        notes.append(f"{why}: the limit comes from the mixture alone.")
        return "mixture fitted to the measurements given", notes, None, ""
    if data.ethanol_vol >= classes.TRACE_ETHANOL_VOL:
        assert data.t10_degc is not None
        assert data.t50_degc is not None
        linear = data.vapour_pressure_kpa, data.t10_degc, data.t50_degc
        stepped = 1 <= data.ethanol_vol <= 15 and data.vapour_pressure_kpa >= 35 and data.t10_degc <= 80
        other = float(volatility.t_vl20_ethanol_step_degc(volatility.t_vl20_linear_degc(*linear))) if stepped else None
        return "ethanol blend fitted to its own measurements", notes, other, "the ethanol step of ASTM D4814-18 appendix X2.27"
    equation = found.t_vl20_degc + (1 - found.credit) * found.apart_degc
    other = equation - found.apart_degc if found.credit > 0.5 else equation
    if found.credit > 0.99:
        route = "linear equation of ASTM D4814 on measured values"
    else:
        route = f"{100 * found.credit:.0f} % linear equation of ASTM D4814, the rest the mixture fitted to the measurements"
        notes.append(
            "The linear equation applies only in part to a fuel like this: the limit lies between it and the mixture and is less certain."
        )
    words = "the mixture fitted to the measurements" if found.credit > 0.5 else "the linear equation of ASTM D4814"
    return (route, notes, other, words) if abs(found.apart_degc) > _TOLD_APART_DEGC else (route, notes, None, "")
