"""What is said at the stand: peak torque and peak power with their engine speeds, from one smoothing for all pulls."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.power.decided import Fit
from hotfuel.study.power.pulls import Pull

SMOOTHED_RPM = 200.0  # a running mean this wide: wide enough for single readings, narrow against the shape of an engine's curve
FLAT_SHARE = (
    0.005  # a top that stays within half a per cent of its peak over more than one smoothing width is a range, not a speed
)
_STEP_RPM = 10.0


@dataclass(frozen=True)
class Peak:
    """A variant's peak: mean of its pulls' own peaks, the engine speed of each averaged, and the range of speeds that are as good."""

    value: float
    rpm: float
    rpm_low: float
    rpm_high: float
    pulls: tuple[float, ...]

    @property
    def is_flat(self) -> bool:
        """Whether the top is a range of speeds rather than one."""
        return self.rpm_high - self.rpm_low > SMOOTHED_RPM


@dataclass(frozen=True)
class Said:
    """The numbers of one variant: peak power kW, peak torque Nm, mean power kW and torque Nm of each pull over the speeds compared.

    What went with them where files or sessions hold it (nan where not): fuel degC, its smallest margin to boiling (plus is room), intake air degC, lambda,
    spark degrees before top dead centre, air flow in the file's unit.
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
    half = SMOOTHED_RPM / 2
    fine = np.arange(rpm[0], rpm[-1] + _STEP_RPM / 2, _STEP_RPM)
    width = 2 * round(half / _STEP_RPM) + 1
    means = np.convolve(np.interp(fine, rpm, values), np.full(width, 1 / width), mode="valid")
    return fine[width // 2 : width // 2 + len(means)], means


def peak(pulls: Sequence[Pull], column: str, factors: Sequence[float] | np.ndarray) -> Peak:
    """The peak of a column ("power_kw" or "torque_nm") times each pull's correction factor: per pull, then averaged."""
    tops, at, low, high = [], [], [], []
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
    return Peak(float(np.mean(tops)), float(np.mean(at)), float(np.mean(low)), float(np.mean(high)), tuple(tops))


def said(
    name: str,
    pulls: Sequence[Pull],
    low_rpm: float,
    high_rpm: float,
    factors: Sequence[float] | np.ndarray,
    beside: dict[str, float] | None = None,
) -> Said:
    """The numbers of one variant; means are over low_rpm to high_rpm. beside: what went with them, by the names of Said's fields."""
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
    """(difference, low, high of its 95 % interval) of a number of which each pull has one, a drift over the order taken out where the order lets it;
    no interval (nan) without a fit, where the order allows no verdict, or the pulls tell no spread."""
    told = fit is not None and fit.allows_verdict and np.ptp([*base, *variant]) > 0
    estimate = fit.estimate(np.asarray(base), np.asarray(variant)) if fit is not None and told else None
    if estimate is None:
        return float(np.mean(variant) - np.mean(base)), np.nan, np.nan
    return estimate.difference, *estimate.interval()
