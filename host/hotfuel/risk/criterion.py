"""How much vapour each place tolerates: the V/L whose temperature is the limit.

No published table of pumps' tolerance was found; V/L 20 is what loss of power, hot starting and rough idling are tied to, "varying from car to car"
(ASTM D4814-18, X1.10.2). The other rows are assumptions, common practice, no source; each limit is shown with its criterion.
"""

from dataclasses import dataclass

from hotfuel.car import Car
from hotfuel.places import Role


@dataclass(frozen=True)
class Criterion:
    """V/L of the limit, its plausible range, and the reason."""

    vapour_liquid_ratio: float
    least: float
    greatest: float
    reason: str

    @property
    def ratio(self) -> str:
        """The ratio for a person: "V/L 20 (10 to 36)"."""
        return f"V/L {self.vapour_liquid_ratio:g} ({self.least:g} to {self.greatest:g})"

    @property
    def text(self) -> str:
        """Ratio and reason for a person: "V/L 20 (10 to 36): mechanical pump, ..."."""
        return f"{self.ratio}: {self.reason}"


_ASSUMED = "assumption, no published tolerance found"
_PUMPS = {
    "mechanical": Criterion(20, 10, 36, f"mechanical pump, {_ASSUMED}"),
    "electric_line": Criterion(4, 0, 10, f"electric pump drawing through a line, {_ASSUMED}"),
    "electric_submerged": Criterion(4, 0, 10, f"electric pump in the tank, {_ASSUMED}"),
}
_METERING = Criterion(20, 10, 36, "carburettor metering, ASTM D4814-18 X1.10.2")
# An injector meters by its opening time: a tenth of vapour by volume is a tenth less fuel, so its limit is where boiling begins. What boils in the line
# before it comes through it a moment later.
_INJECTION = Criterion(0, 0, 1, f"injector, where boiling begins, {_ASSUMED}")
_BOWL = Criterion(2, 0, 5, f"percolation from the bowl, {_ASSUMED}")
_SET_SHARE = 0.25  # a criterion set in the car file is assumed known to 25 %


def criterion(car: Car, role: Role) -> Criterion:
    """The criterion of a place by its role; at tank, suction and pump it is the pump's, or the car file's `pump.vapour_liquid_ratio`."""
    if role.criterion == "bowl":
        return _BOWL
    if role.criterion == "injection":
        return _INJECTION
    if role.criterion == "metering":
        return _METERING
    chosen = car.pump.vapour_liquid_ratio
    if chosen is None:
        return _PUMPS[car.pump.kind]
    return Criterion(chosen, chosen * (1 - _SET_SHARE), min(chosen * (1 + _SET_SHARE), 40.0), "set in the car file")
