"""Transport between two places: when fuel from one arrives at the other, and how much heat it takes up on the way.

A hose is a plug flow: the fuel that leaves at t entered one hose volume of flow earlier, T_out = T_s + (T_in - T_s) exp(-UA / (rho cp) x r), with r the
time it spent in the hose divided by the hose's volume. The probe at the outlet lags, so the model's outlet is lagged too before it is compared with it.
"""

from dataclasses import asdict, dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from hotfuel.study.evidence.curve import fitted
from hotfuel.study.line.plug_flow import (
    CP_J_KG_K,
    CP_SHARE,
    DENSITY_KG_M3,
    SLOWEST_L_H,
    bridged,
    delay_s,
    entered_s,
    flowed_l,
    lagged,
    outlet,
)
from hotfuel.study.line.reasons import Lacking, Reason, Untold, UntoldError

LEAST_SAMPLES = 60
MOST_OFFSET_DEGC = 40.0  # how far a hose's surroundings may be from a probe in the air nearby
_FIRST_L = 0.15
KNOT_S = 300.0
MOST_KNOTS = 5
STARTS = 3  # of eight starting points, the fit runs from the nearest ones
FLOW_U = 0.35  # relative standard uncertainty of a flow from engine speed
TOLD_DEGC = 1.0  # a smaller change within half a minute counts as none
UNSTEADY_SHARE = 0.25  # of a delay, where it is not known whether the flow was steady (the simulated lines of tests/authority/test_against_plug_flow.py)
UNMEASURED_SHARE = (
    0.5  # of volume and UA, where the air beside the hose, which changes with the flow, was not measured (simulated drives)
)


class FlowBasis(StrEnum):
    """Where a flow comes from; `hotfuel.report.line_words.FLOW` says it."""

    UNKNOWN = "unknown"
    GIVEN = "given"  # as read by a meter, by whoever asks
    METER = "meter"  # recorded with the drive
    SPEED = "speed"  # engine speed, displacement and mixture
    SPEED_AND_POWER = "speed, power"  # in pulls by specific consumption
    POWER = "power"  # at full throttle only
    METER_OR_UNKNOWN = "meter or unknown"  # recorded in part, the rest is another's
    METER_OR_SPEED = "meter or speed"
    METER_OR_SPEED_AND_POWER = "meter or speed, power"


METERED_IN_PART = {
    FlowBasis.UNKNOWN: FlowBasis.METER_OR_UNKNOWN,
    FlowBasis.SPEED: FlowBasis.METER_OR_SPEED,
    FlowBasis.SPEED_AND_POWER: FlowBasis.METER_OR_SPEED_AND_POWER,
}


@dataclass(frozen=True)
class Hose:
    """What a recording says of a hose: volume, delay at the middle flow, UA, temperature of its surroundings, each with its standard uncertainty.

    heat_w: mean heat picked up while fuel flowed, with the flow's, the heat capacity's and the readings' uncertainty in it;
    nan where flow is unknown, and so is UA.
    residual_degc: how far the model is from the readings (rms). changed_degc, changed_at_s: the downstream place's largest change within half a
    minute and when it was reached, on the times given; nan where it hardly changed. reason: of that change. inside_s: how long the fuel that arrived
    then had been in the hose.
    """

    volume_l: float
    volume_u_l: float
    delay_s: float
    delay_u_s: float
    ua_w_k: float
    ua_u_w_k: float
    surroundings_degc: float
    surroundings_u_degc: float
    heat_w: float
    heat_u_w: float
    residual_degc: float
    flow_basis: FlowBasis
    changed_degc: float
    changed_at_s: float
    reason: Reason
    inside_s: float

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Flow:
    """Flow through the line, L/h (n,), its relative standard uncertainty, and where it comes from. `litres_h` is nan where unknown.

    metered: whether a meter measured any of it.
    """

    litres_h: np.ndarray
    relative_u: float
    basis: FlowBasis
    metered: bool = False


def flow_from_meter(litres_h: npt.ArrayLike, relative_u: float = 0.02) -> Flow:
    """Flow as read by a meter in this line."""
    return Flow(np.asarray(litres_h, dtype=float), relative_u, FlowBasis.GIVEN, metered=True)


def flow_from_speed(
    engine_rpm: npt.ArrayLike, displacement_l: float, *, filling: float = 0.35, lambda_ratio: float = 0.9, return_l_h: float = 0.0
) -> Flow:
    """Flow from engine speed and displacement: four-stroke air swallowed x filling / (14.7 lambda), plus the declared return.

    filling: share of the displacement that is filled with outside air (0.25 to 0.4 idling or cruising, 0.8 to 0.9 at full throttle:
    common practice, no source); not measured, hence 35 % of uncertainty.
    """
    rpm = np.asarray(engine_rpm, dtype=float)
    air_kg_h = rpm / 2 * 60 * displacement_l * filling * 1.18e-3  # air at 99 kPa, 25 degC
    return Flow(
        air_kg_h / (14.7 * lambda_ratio) / DENSITY_KG_M3 * 1000 + return_l_h * (rpm > 0),
        FLOW_U,
        FlowBasis.SPEED,
    )


def flow_from_power(power_kw: float, *, kg_kwh: float = 0.29, return_l_h: float = 0.0) -> Flow:
    """Flow at full throttle from specific consumption (0.45 to 0.50 lb/hp-h without boost: 0.274 to 0.304 kg/kWh). Holds at full throttle only."""
    return Flow(np.asarray(power_kw * kg_kwh / DENSITY_KG_M3 * 1000 + return_l_h), 0.1, FlowBasis.POWER)


def fit(
    time_s: npt.ArrayLike,
    upstream_degc: npt.ArrayLike,
    downstream_degc: npt.ArrayLike,
    flow: Flow,
    *,
    surroundings_degc: npt.ArrayLike | None = None,
    volume_l: float | None = None,
    upstream_lag_s: float = 1.5,
    downstream_lag_s: float = 1.5,
    reading_u_degc: float = 0.3,
    steady: bool = False,
) -> Hose:
    """Volume (unless given), UA and the temperature of the surroundings, by least squares on the downstream probe's readings.

    surroundings_degc: a probe in the air beside the hose, (n,); with it volume and UA are known far better than from the fuel alone. reading_u_degc:
    standard uncertainty of one probe against the other, for the heat's uncertainty.

    time_s evenly spaced, all arrays (n,). Where flow is unknown (nan) only the delay is found, from the two curves, and to a quarter at best unless
    `steady` says that the engine's speed, and so the flow, was constant. Standard uncertainties come from the fit's Jacobian, widened for residuals
    that are not independent, and from the flow's. Raises UntoldError, an InputError, for fewer than 60 usable samples, with both temperatures or with
    flow, or a recording in which nothing changes.
    """
    t, up, down = (np.asarray(x, dtype=float) for x in (time_s, upstream_degc, downstream_degc))
    good = np.isfinite(up) & np.isfinite(down)
    if good.sum() < LEAST_SAMPLES:
        raise UntoldError(
            f"a hose needs at least {LEAST_SAMPLES} samples with both temperatures: there are {int(good.sum())}",
            Untold(Lacking.SAMPLES, int(good.sum())),
        )
    if np.ptp(up[good]) < 1.0:
        raise UntoldError(
            "the temperature at the place before hardly changes, so nothing shows when its fuel arrives: use a stretch where it does",
            Untold(Lacking.CHANGE),
        )
    up, down = bridged(up), bridged(down)
    litres = np.broadcast_to(flow.litres_h, t.shape)
    if not np.isfinite(litres).any():
        return _delay_only(t, lagged(t, up, downstream_lag_s), lagged(t, down, upstream_lag_s), steady)
    litres = np.nan_to_num(litres)
    # Both probes lag: the upstream reading, lagged once more, is compared with the downstream one, lagged by the upstream probe.
    against = lagged(t, down, upstream_lag_s)
    middle = float(np.median(litres[litres > SLOWEST_L_H])) if (litres > SLOWEST_L_H).any() else np.nan
    if np.isnan(middle):
        raise UntoldError(
            "no fuel flows in this stretch, so there is no transport: use one with the engine running", Untold(Lacking.FLOW)
        )
    free_volume = volume_l is None
    around = None if surroundings_degc is None else np.asarray(surroundings_degc, dtype=float)

    # Unmeasured surroundings change slowly: straight lines between knots five minutes apart. Measured ones may be off by a constant.
    knots = (
        np.linspace(t[0], t[-1], 1 + int(np.clip(round((t[-1] - t[0]) / KNOT_S), 1, MOST_KNOTS - 1))) if around is None else t[:1]
    )

    def beside(x: np.ndarray) -> np.ndarray:
        answer: np.ndarray = np.interp(t, knots, x[-len(knots) :]) + (0.0 if around is None else around)
        return answer

    def model(x: np.ndarray) -> np.ndarray:
        ua = float(np.exp(x[0]))
        volume = float(np.exp(x[1])) if free_volume else float(volume_l or 0.0)
        return lagged(t, outlet(t, up, litres, volume, ua, beside(x)), downstream_lag_s)

    flowed = flowed_l(t, litres)
    # Fuel that was in the hose at the start entered before the recording: the fit leaves it out, up to a third of the samples.
    first = min(int(np.searchsorted(flowed, volume_l or _FIRST_L)), len(t) // 3)
    weight = ((litres > SLOWEST_L_H) & (np.arange(len(t)) >= first)).astype(float)

    if weight.sum() < LEAST_SAMPLES:
        raise UntoldError(
            f"fuel flows in only {int(weight.sum())} samples of this stretch: a hose needs {LEAST_SAMPLES}, use a longer one",
            Untold(Lacking.FLOWING_SAMPLES, int(weight.sum())),
        )

    def misfit(x: np.ndarray) -> np.ndarray:
        answer: np.ndarray = (model(x) - against) * weight
        return answer

    # Bounds of what counts as a hose: UA 0.01 to 100 W/K, 5 mL to 2 L, surroundings between ice and the air beside an exhaust.
    least, most = (-30.0, 250.0) if around is None else (-MOST_OFFSET_DEGC, MOST_OFFSET_DEGC)
    volumes = (np.log([0.005, 2.0]),) if free_volume else ()
    limits = tuple(np.array([np.log([0.01, 100.0]), *volumes, *[(least, most)] * len(knots)]).T)
    beside_at_first = [min(float(np.max(down)) + 10, most - 1.0) if around is None else 0.0] * len(knots)
    starts = [
        [np.log(ua), *([np.log(guess_l)] if free_volume else []), *beside_at_first]
        for guess_l in ((0.03, 0.08, 0.2, 0.5) if free_volume else (0.0,))
        for ua in (0.3, 3.0)
    ]
    starts.sort(key=lambda start: float(np.sum(misfit(np.array(start)) ** 2)))
    best = fitted(misfit, starts[:STARTS], limits, weight > 0)
    covariance = _independent_factor(best.residual) * best.covariance
    errors = np.sqrt(np.diag(covariance))
    ua = float(np.exp(best.parameters[0]))
    unmeasured = UNMEASURED_SHARE if around is None else 0.0
    # UA and volume are proportional to the flow given: its relative uncertainty is theirs.
    ua_u = float(ua * np.hypot(np.hypot(errors[0], flow.relative_u), np.hypot(CP_SHARE, unmeasured)))
    volume = float(np.exp(best.parameters[1])) if free_volume else float(volume_l or 0.0)
    volume_u = float(volume * np.hypot(np.hypot(errors[1], unmeasured), flow.relative_u)) if free_volume else 0.0
    near = np.stack([np.interp(t, knots, unit) for unit in np.eye(len(knots))]).mean(axis=1)  # each knot's share in the mean
    around_u = float(np.sqrt(near @ covariance[-len(knots) :, -len(knots) :] @ near))
    delay = float(delay_s(volume, middle))
    delay_u = delay * float(np.hypot(errors[1], unmeasured)) if free_volume else delay * flow.relative_u
    entered = entered_s(t, flowed, volume)
    passed = (weight > 0) & np.isfinite(entered)
    watts_k = litres[passed] / 3.6e6 * DENSITY_KG_M3 * CP_J_KG_K
    # Fuel is compared with its own temperature when it entered, else a change passing through would count as heat.
    heat = float(np.mean(watts_k * (down - np.interp(entered, t, up))[passed])) if passed.any() else np.nan
    reading = float(np.mean(watts_k)) * np.sqrt(2) * reading_u_degc if passed.any() else np.nan
    changed, changed_at, reason, inside = _why_warm(t, up, down, litres, volume)
    return Hose(
        volume_l=volume,
        volume_u_l=volume_u,
        delay_s=delay,
        delay_u_s=delay_u,
        ua_w_k=ua,
        ua_u_w_k=ua_u,
        surroundings_degc=float(np.mean(beside(best.parameters))),
        surroundings_u_degc=around_u,
        heat_w=heat,
        heat_u_w=float(np.hypot(abs(heat) * np.hypot(flow.relative_u, CP_SHARE), reading)),
        residual_degc=best.spread,
        flow_basis=flow.basis,
        changed_degc=changed,
        changed_at_s=changed_at,
        reason=reason,
        inside_s=inside,
    )


def _independent_factor(residual: np.ndarray) -> float:
    """By how much autocorrelated residuals widen a variance: (1 + r) / (1 - r) with the lag-one autocorrelation r (AR(1))."""
    centred = residual - residual.mean()
    r = float(np.clip(centred[1:] @ centred[:-1] / max(float(centred @ centred), 1e-12), 0.0, 0.9999))
    return (1 + r) / (1 - r)


def _delay_only(t: np.ndarray, up: np.ndarray, down: np.ndarray, steady: bool) -> Hose:
    """The shift with which the changes of two curves agree best; both have the same lag here."""
    step = float(np.median(np.diff(t)))
    rates = [np.gradient(np.convolve(np.pad(x, 2, mode="edge"), np.ones(5) / 5, mode="valid")) for x in (up, down)]
    most = len(t) // 3
    with np.errstate(invalid="ignore", divide="ignore"):  # a stretch in which nothing changes has no correlation
        scores = np.nan_to_num([float(np.corrcoef(rates[0][: len(t) - k], rates[1][k:])[0, 1]) for k in range(most)])
    best = int(np.argmax(scores))
    # Where flow changes, so does the delay: each shift that agrees nearly as well may have been the delay of one change.
    near = np.flatnonzero(scores >= 0.8 * scores[best]) if scores[best] > 0 else np.array([best])
    delay = best * step
    spread = max(float(np.ptp(near)) * step / np.sqrt(12), step)
    if not steady:
        spread = float(np.hypot(spread, UNSTEADY_SHARE * delay))
    nan = np.nan
    reason = Reason.DELAY_ONLY
    if scores[best] < 0.5:
        delay = spread = nan
        reason = Reason.NO_DELAY
    return Hose(nan, nan, delay, spread, nan, nan, nan, nan, nan, nan, nan, FlowBasis.UNKNOWN, nan, nan, reason, nan)


def _why_warm(
    t: np.ndarray, up: np.ndarray, down: np.ndarray, flow: np.ndarray, volume: float
) -> tuple[float, float, Reason, float]:
    """(largest change of the downstream place within half a minute, when it was reached, why, how long the fuel then had been in the hose)."""
    window = max(5, round(30 / float(np.median(np.diff(t)))))
    change = down[window:] - down[:-window]
    if not change.size or np.abs(change).max() < TOLD_DEGC:
        return np.nan, np.nan, Reason.HARDLY_CHANGED, np.nan
    at = int(np.argmax(np.abs(change))) + window
    entered = np.fmax(entered_s(t, flowed_l(t, flow), volume)[[at - window, at]], t[0])
    entered_degc = np.interp(entered, t, up)
    arrived = float(np.diff(entered_degc)[0])
    total = float(down[at] - down[at - window])
    inside = float(t[at] - entered[1])
    before = float(t[at - window] - entered[0])
    reason = Reason.HEAT_ON_THE_WAY
    if arrived * total > 0 and abs(arrived) >= 0.5 * abs(total):
        reason = Reason.ARRIVED
    elif (inside - before) * total > 0 and abs(inside - before) >= max(1.0, 0.2 * before):
        reason = Reason.TIME_IN_HOSE
    elif min(down[at - window] - entered_degc[0], down[at] - entered_degc[1]) <= -0.5 * abs(total):
        reason = Reason.HEAT_TAKEN_OUT
    return total, float(t[at]), reason, inside
