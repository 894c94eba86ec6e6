"""Power curves on common engine-speed bins."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power.pulls import Pull

LEAST_COMMON_RPM = 500.0
TWO_ENGINES_RATIO = 1.3
_FINE_STEPS = 10


@dataclass(frozen=True)
class Bins:
    """Bin centres rpm (k,) and width; every pull covers every bin."""

    rpm: np.ndarray
    width: float

    def _fine(self) -> np.ndarray:
        steps = (np.arange(_FINE_STEPS) + 0.5) / _FINE_STEPS - 0.5
        return (self.rpm[:, None] + steps * self.width).ravel()

    def mean_log_power(self, pull: Pull) -> np.ndarray:
        """Natural log of power kW averaged over each bin (k,), by linear interpolation between the pull's points."""
        power = np.interp(self._fine(), pull.rpm, pull.power_kw).reshape(len(self.rpm), _FINE_STEPS).mean(axis=1)
        if not (power > 0).all():
            raise InputError(
                f"{pull.name} has no power at {self.rpm[np.argmin(power)]:.0f} rpm: cut the pull to the speeds at which the engine pulls"
            )
        answer: np.ndarray = np.log(power)
        return answer

    @property
    def band(self) -> tuple[float, float]:
        """From the lower edge of the first bin to the upper edge of the last, rpm."""
        return float(self.rpm[0] - self.width / 2), float(self.rpm[-1] + self.width / 2)

    def side_mean(self, pulls: Sequence[Pull], column: str) -> float:
        """Mean over bins and pulls of an optional column ("fuel_degc", "lambda_ratio", "air_flow"); nan unless every pull has it."""
        means = []
        for pull in pulls:
            values = getattr(pull, column)
            good = np.zeros(0, dtype=bool) if values is None else np.isfinite(values)
            if not good.any():
                return np.nan
            means.append(np.interp(self._fine(), pull.rpm[good], values[good]).mean())
        return float(np.mean(means))


def mean_log_percent(pulls: Mapping[int, Pull]) -> dict[int, float]:
    """{number: 100 times the mean log of power over the bins that all pulls share}: small differences are per cent."""
    grid = bins(list(pulls.values()))
    return {number: float(100 * grid.mean_log_power(pull).mean()) for number, pull in pulls.items()}


def bins(pulls: Sequence[Pull], width_rpm: float | None = None, band_rpm: tuple[float, float] | None = None) -> Bins:
    """Bins over the engine speeds that all pulls share, or over band_rpm; width 250 rpm unless that gives fewer than 8 bins, or as given (50 to 1000).

    Raises InputError where the pulls share less than 500 rpm, do not cover the band, or the width gives fewer than three bins.
    """
    low, high = max(p.rpm[0] for p in pulls), min(p.rpm[-1] for p in pulls)
    if band_rpm is not None:
        if not (low <= band_rpm[0] and band_rpm[1] <= high and band_rpm[1] - band_rpm[0] >= LEAST_COMMON_RPM):
            raise InputError(
                f"a band of {band_rpm[0]:.0f} to {band_rpm[1]:.0f} rpm was asked for (--band): the pulls share {low:.0f} to {high:.0f} rpm, and at least "
                f"{LEAST_COMMON_RPM:.0f} rpm of it are needed"
            )
        low, high = band_rpm
    if high - low < LEAST_COMMON_RPM:
        raise InputError(
            f"the pulls share {max(high - low, 0):.0f} rpm of engine speed: they need at least {LEAST_COMMON_RPM:.0f} in common"
        )
    if width_rpm is not None and not 50 <= width_rpm <= 1000:
        raise InputError(f"a bin of {width_rpm:g} rpm was asked for: allowed is 50 to 1000 rpm")
    width = width_rpm if width_rpm is not None else min(250.0, (high - low) / 8)
    count = int((high - low) / width + 1e-9)
    if count < 3:
        raise InputError(f"bins of {width:g} rpm leave {count} over the common {high - low:.0f} rpm: choose narrower ones")
    start = low + (high - low - count * width) / 2
    return Bins(start + (np.arange(count) + 0.5) * width, width)


def two_engines(groups: Mapping[str, Sequence[Pull]]) -> None:
    """Raises InputError where two pulls differ by more than 30 % at the same engine speed: fuel cannot do that, another engine or unit can."""
    pulls = [pull for side in groups.values() for pull in side]
    first = pulls[0]
    for pull in pulls[1:]:
        low, high = max(first.rpm[0], pull.rpm[0]), min(first.rpm[-1], pull.rpm[-1])
        if high <= low:
            raise InputError(
                f"{first.name} and {pull.name} share no engine speed: they look like two engines, compare pulls of one"
            )
        at = np.linspace(low, high, 20)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = float(np.median(np.interp(at, pull.rpm, pull.power_kw) / np.interp(at, first.rpm, first.power_kw)))
        if not 1 / TWO_ENGINES_RATIO <= ratio <= TWO_ENGINES_RATIO:
            raise InputError(
                f"{pull.name} makes {100 * ratio:.0f} % of the power of {first.name} at the same speed: "
                "that looks like two engines or a wrong unit, compare pulls of one"
            )
