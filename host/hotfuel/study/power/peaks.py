"""What is said at the stand: peak torque and peak power with their engine speeds, from one smoothing for all pulls."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.study.evidence import intervals
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
    """The numbers of one variant: peak power kW, peak torque Nm, mean power kW over the speeds all pulls share."""

    name: str
    power_kw: Peak
    torque_nm: Peak
    mean_power_kw: tuple[float, ...]

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
        }


def smoothed(rpm: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(speeds 10 rpm apart, running mean over 200 rpm there), rpm (n,) rising, values (n,); speeds nearer than 100 rpm to an end are left out."""
    half = SMOOTHED_RPM / 2
    fine = np.arange(rpm[0], rpm[-1] + _STEP_RPM / 2, _STEP_RPM)
    width = 2 * round(half / _STEP_RPM) + 1
    means = np.convolve(np.interp(fine, rpm, values), np.full(width, 1 / width), mode="valid")
    return fine[width // 2 : width // 2 + len(means)], means


def peak(pulls: Sequence[Pull], column: str, factor: float = 1.0) -> Peak:
    """The peak of a column ("power_kw" or "torque_nm") times the correction factor: per pull, then averaged."""
    tops, at, low, high = [], [], [], []
    for pull in pulls:
        rpm, values = smoothed(pull.rpm, getattr(pull, column))
        top = int(np.argmax(values))
        good = values >= (1 - FLAT_SHARE) * values[top]
        first = top - int(np.argmin(good[: top + 1][::-1])) + 1 if not good[: top + 1].all() else 0
        last = top + int(np.argmin(good[top:])) - 1 if not good[top:].all() else len(values) - 1
        tops.append(float(values[top]) * factor)
        at.append(float(rpm[top]))
        low.append(float(rpm[first]))
        high.append(float(rpm[last]))
    return Peak(float(np.mean(tops)), float(np.mean(at)), float(np.mean(low)), float(np.mean(high)), tuple(tops))


def said(name: str, pulls: Sequence[Pull], low_rpm: float, high_rpm: float, factor: float = 1.0) -> Said:
    """The numbers of one variant; the mean is over low_rpm to high_rpm."""
    speeds = np.linspace(low_rpm, high_rpm, 200)
    means = tuple(float(np.interp(speeds, pull.rpm, pull.power_kw).mean()) * factor for pull in pulls)
    return Said(name, peak(pulls, "power_kw", factor), peak(pulls, "torque_nm", factor), means)


def gain(base: Sequence[float], variant: Sequence[float]) -> tuple[float, float, float]:
    """(difference of means, low, high of its 95 % interval) of one number a pull; nan interval for single pulls. For sides whose order drops drift out."""
    if min(len(base), len(variant)) < 2:
        return float(np.mean(variant) - np.mean(base)), np.nan, np.nan
    estimate = intervals.two_sample(base, variant)
    return estimate.difference, *estimate.interval()
