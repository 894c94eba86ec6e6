"""The figures quoted at a test stand: peak torque and peak power with their engine speeds, with the same smoothing for all pulls."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.power.decided import Fit
from hotfuel.study.power.pulls import Pull

SMOOTHED_RPM = 200.0  # width of the running mean: averages several points, and is narrow against the shape of an engine's curve
FLAT_SHARE = 0.005  # a top within 0.5 % of its peak over more than one smoothing width is reported as a range of speeds
_HALF_RPM = SMOOTHED_RPM / 2
_STEP_RPM = 10.0


@dataclass(frozen=True)
class Peak:
    """A variant's peak: the means of its pulls' peaks, of their engine speeds, and of the range of speeds within FLAT_SHARE.

    pulls, at_rpm, from_rpm, to_rpm: of each pull its peak, the engine speed there, and the first and last speed at which it could have been found.
    """

    value: float
    rpm: float
    rpm_low: float
    rpm_high: float
    pulls: tuple[float, ...]
    at_rpm: tuple[float, ...] = ()
    from_rpm: tuple[float, ...] = ()
    to_rpm: tuple[float, ...] = ()

    @property
    def is_flat(self) -> bool:
        """Whether the peak is reported as a range of speeds."""
        return self.rpm_high - self.rpm_low > SMOOTHED_RPM

    @property
    def is_cut_off(self) -> bool:
        """Whether a pull ends, or begins, where it is highest: beyond it may be higher."""
        return any(
            at - _HALF_RPM <= first or at + _HALF_RPM >= last
            for at, first, last in zip(self.at_rpm, self.from_rpm, self.to_rpm, strict=True)
        )


@dataclass(frozen=True)
class Said:
    """The numbers of one variant: peak power kW, peak torque Nm, mean power kW and torque Nm of each pull over the speeds compared.

    The conditions, if files or sessions contain them (else nan): fuel degC, its smallest margin to boiling (plus is room), intake air degC, lambda, spark
    degrees before top dead centre, air flow in the file's unit.
    """

    name: str
    power_kw: Peak
    torque_nm: Peak
    mean_power_kw: tuple[float, ...]
    mean_torque_nm: tuple[float, ...]
    fuel_degc: float = np.nan
    margin_degc: float = np.nan
    intake_degc: float = np.nan
    lambda_ratio: float = np.nan
    spark_deg: float = np.nan
    air_flow: float = np.nan

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return {
            "name": self.name,
            "peak_power_kw": self.power_kw.value,
            "peak_power_rpm": self.power_kw.rpm,
            "peak_power_rpm_range": [self.power_kw.rpm_low, self.power_kw.rpm_high],
            "peak_torque_nm": self.torque_nm.value,
            "peak_torque_rpm": self.torque_nm.rpm,
            "peak_torque_rpm_range": [self.torque_nm.rpm_low, self.torque_nm.rpm_high],
            "mean_power_kw": float(np.mean(self.mean_power_kw)),
            "mean_torque_nm": float(np.mean(self.mean_torque_nm)),
            "fuel_degc": self.fuel_degc,
            "margin_degc": self.margin_degc,
            "intake_degc": self.intake_degc,
            "lambda": self.lambda_ratio,
            "spark_deg": self.spark_deg,
            "air_flow": self.air_flow,
        }


def smoothed(rpm: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(speeds 10 rpm apart, running mean over 200 rpm there), rpm (n,) rising, values (n,); speeds nearer than 100 rpm to an end are left out."""
    fine = np.arange(rpm[0], rpm[-1] + _STEP_RPM / 2, _STEP_RPM)
    width = 2 * round(_HALF_RPM / _STEP_RPM) + 1
    means = np.convolve(np.interp(fine, rpm, values), np.full(width, 1 / width), mode="valid")
    return fine[width // 2 : width // 2 + len(means)], means


def peak(pulls: Sequence[Pull], column: str, factors: Sequence[float] | np.ndarray) -> Peak:
    """The peak of a column ("power_kw" or "torque_nm") times each pull's correction factor: per pull, then averaged."""
    tops, at, low, high, ends = [], [], [], [], []
    for pull, factor in zip(pulls, factors, strict=True):
        rpm, values = smoothed(pull.rpm, getattr(pull, column))
        top = int(np.argmax(values))
        good = values >= (1 - FLAT_SHARE) * values[top]
        first = top - int(np.argmin(good[: top + 1][::-1])) + 1 if not good[: top + 1].all() else 0
        last = top + int(np.argmin(good[top:])) - 1 if not good[top:].all() else len(values) - 1
        tops.append(float(values[top]) * float(factor))
        at.append(float(rpm[top]))
        low.append(float(rpm[first]))
        high.append(float(rpm[last]))
        ends.append((float(rpm[0]), float(rpm[-1])))
    first_rpm, last_rpm = zip(*ends, strict=True)
    value, mean_rpm, low_rpm, high_rpm = (float(np.mean(values)) for values in (tops, at, low, high))
    return Peak(value, mean_rpm, low_rpm, high_rpm, tuple(tops), tuple(at), first_rpm, last_rpm)


def are_comparable(one: Peak, other: Peak) -> bool:
    """Whether the difference of two peaks is the engine's: not where a pull ends while it is highest and others went on, or began earlier."""
    if not (one.is_cut_off or other.is_cut_off):
        return True
    return all(np.ptp([*getattr(one, key), *getattr(other, key)]) <= SMOOTHED_RPM for key in ("from_rpm", "to_rpm"))


def said(
    name: str,
    pulls: Sequence[Pull],
    low_rpm: float,
    high_rpm: float,
    factors: Sequence[float] | np.ndarray,
    beside: dict[str, float] | None = None,
) -> Said:
    """The numbers of one variant; means are over low_rpm to high_rpm. beside: the conditions, by the names of Said's fields."""
    speeds = np.linspace(low_rpm, high_rpm, 200)
    means = {
        column: tuple(
            float(np.interp(speeds, pull.rpm, getattr(pull, column)).mean() * factor)
            for pull, factor in zip(pulls, factors, strict=True)
        )
        for column in ("power_kw", "torque_nm")
    }
    tops = [peak(pulls, column, factors) for column in ("power_kw", "torque_nm")]
    return Said(name, tops[0], tops[1], means["power_kw"], means["torque_nm"], **(beside or {}))


def gain(fit: Fit | None, base: Sequence[float], variant: Sequence[float]) -> tuple[float, float, float]:
    """(difference, low, high of its 95 % interval) of one number per pull, with a drift over the order removed where `fit` has one; the interval is nan
    without a fit, if the order allows no verdict, or if all pulls are equal."""
    told = fit is not None and fit.allows_verdict and np.ptp([*base, *variant]) > 0
    estimate = fit.estimate(np.asarray(base), np.asarray(variant)) if fit is not None and told else None
    if estimate is None:
        return float(np.mean(variant) - np.mean(base)), np.nan, np.nan
    return estimate.difference, *estimate.interval()
