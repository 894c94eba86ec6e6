"""What cooler fuel can do for power by physics: the ceiling of charge cooling, its square-root value, and the mixture a fixed jet then meters."""

from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.units import ZERO_DEGC_IN_K

CP_FUEL_KJ_KG_K = 2.1  # sources disagree, 2.0 (AFDC fuel properties) to 2.4 (Cengel, table A-3): 2.1 ± 0.2
CP_AIR_KJ_KG_K = 1.005
AIR_FUEL_RATIO = 12.8  # best power on gasoline, by mass (common practice, no source)
MECHANICAL_EFFICIENCY = 0.85  # at full throttle (common practice, no source): indicated power grows, friction does not
EXPANSION_PER_DEGC = 0.00125  # liquid gasoline, API MPMS 11.1 table 54B at 740 kg/m3


@dataclass(frozen=True)
class Expectation:
    """For fuel cooler by `fuel_cooler_degc`: the charge is cooler by `charge_cooler_degc` at most; power gains in per cent.

    ceiling: by charge density alone, and with constant friction; square root: by the law of the power standards, likewise. A fixed jet passes
    `richer_percent` more fuel by mass; what that does to power depends on the mixture before, so it is no part of the ceiling.
    """

    fuel_cooler_degc: float
    charge_cooler_degc: float
    ceiling_percent: float
    ceiling_with_friction_percent: float
    square_root_percent: float
    square_root_with_friction_percent: float
    richer_percent: float


@dataclass(frozen=True)
class Share:
    """What physics allows of a gain, per cent of power: charge cooling, a fixed jet that passes denser fuel, and both; each (low, high), 95 %.

    beyond_percent: by how much the lower end of the gain exceeds that; 0 if it does not.
    """

    fuel_cooler_degc: float
    fuel_half_degc: float
    charge_percent: tuple[float, float]
    jet_percent: tuple[float, float]
    allowed_percent: tuple[float, float]
    beyond_percent: float

    def may_explain(self, low_percent: float, high_percent: float) -> bool:
        """Whether some gain of this interval lies between nothing and what physics allows."""
        low, high = min(self.allowed_percent[0], 0.0), max(self.allowed_percent[1], 0.0)
        return low_percent <= high and high_percent >= low


_CP_HALF, _PROBE_U_DEGC = 0.2, 1.0  # half the range of the sources for the fuel; of one probe (common practice, no source)


def share(
    fuel_cooler_degc: float,
    gain_low_percent: float,
    *,
    fuel_half_degc: float | None = None,
    same_mixture: bool,
    charge_degc: float = 25.0,
) -> Share:
    """What fuel cooler by so many degC, known to +-fuel_half_degc (95 %; None: as two probes give it), can do.

    Charge cooling: from the square-root law of the power standards to the ceiling by density with constant friction, over the published heat capacities
    of the fuel. Fixed jet: from nothing (best mixture before) to power that follows the fuel (lean before); nothing where the mixture stayed the same.
    """
    half = 2 * 2**0.5 * _PROBE_U_DEGC if fuel_half_degc is None else fuel_half_degc
    ends = sorted((min(max(fuel_cooler_degc + side * half, -100), 100) for side in (-1, 1)), key=abs)
    near = expectation(ends[0] if ends[0] * ends[1] > 0 else 0.0, charge_degc)
    far = expectation(ends[1], charge_degc)
    spread = _CP_HALF / CP_FUEL_KJ_KG_K
    charge = sorted((near.square_root_percent * (1 - spread), far.ceiling_with_friction_percent * (1 + spread)))
    jet = [0.0, 0.0] if same_mixture else sorted((0.0, far.richer_percent))
    if ends[0] * ends[1] <= 0:  # which side was cooler is unknown
        other = expectation(ends[0], charge_degc)
        charge = sorted((other.ceiling_with_friction_percent * (1 + spread), charge[1] if ends[1] > 0 else charge[0]))
        jet = [0.0, 0.0] if same_mixture else sorted((other.richer_percent, far.richer_percent))
    allowed = charge[0] + jet[0], charge[1] + jet[1]
    beyond = gain_low_percent - max(allowed[1], 0.0)
    return Share(fuel_cooler_degc, half, (charge[0], charge[1]), (jet[0], jet[1]), allowed, float(beyond) if beyond > 0 else 0.0)


def expectation(fuel_cooler_degc: float, charge_degc: float = 25.0, air_fuel_ratio: float = AIR_FUEL_RATIO) -> Expectation:
    """For fuel cooler by so many degC (negative: hotter), with the charge at `charge_degc` before.

    Enthalpy balance of unburnt charge: dT = cp_fuel dT_fuel / (AFR cp_air + cp_fuel); the heat of evaporation drops out.
    Density gains dT / T, the square-root law half of it. Raises InputError beyond ±100 degC. Example: 24 degC cooler -> ceiling 1.1 to 1.3 %.
    """
    if not -100 <= fuel_cooler_degc <= 100:
        raise InputError(f"fuel cooler by {fuel_cooler_degc:g} °C was given: allowed is -100 to 100 °C")
    charge = CP_FUEL_KJ_KG_K * fuel_cooler_degc / (air_fuel_ratio * CP_AIR_KJ_KG_K + CP_FUEL_KJ_KG_K)
    density = 100 * charge / (charge_degc + ZERO_DEGC_IN_K - charge)
    root = 100 * (((charge_degc + ZERO_DEGC_IN_K) / (charge_degc + ZERO_DEGC_IN_K - charge)) ** 0.5 - 1)
    return Expectation(
        fuel_cooler_degc=fuel_cooler_degc,
        charge_cooler_degc=charge,
        ceiling_percent=density,
        ceiling_with_friction_percent=density / MECHANICAL_EFFICIENCY,
        square_root_percent=root,
        square_root_with_friction_percent=root / MECHANICAL_EFFICIENCY,
        richer_percent=100
        * ((1 + EXPANSION_PER_DEGC * fuel_cooler_degc) ** 0.5 - 1),  # a jet's mass flow is proportional to the root of density
    )
