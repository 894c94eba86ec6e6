"""What physics lets cooler fuel do for power: the ceiling of charge cooling, its square-root value, and the mixture a fixed jet then meters."""

from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.units import ZERO_DEGC_IN_K, Shown

CP_FUEL_KJ_KG_K = 2.1  # sources disagree, 2.0 (AFDC fuel properties) to 2.4 (Cengel, table A-3): 2.1 ± 0.2
CP_AIR_KJ_KG_K = 1.005
AIR_FUEL_RATIO = 12.8  # best power on gasoline, by mass (common practice, no source)
MECHANICAL_EFFICIENCY = 0.85  # at full throttle (common practice, no source): indicated power gains, friction stays
EXPANSION_PER_DEGC = 0.00125  # liquid gasoline, API MPMS 11.1 table 54B at 740 kg/m3


@dataclass(frozen=True)
class Expectation:
    """For fuel cooler by `fuel_cooler_degc`: the charge is cooler by `charge_cooler_degc` at most; power gains in per cent.

    ceiling: charge density alone, and the same with constant friction; square root: the law of the power standards, likewise both. A fixed jet passes
    `richer_percent` more fuel by mass; what that does to power depends on the mixture before, so it is no part of the ceiling.
    """

    fuel_cooler_degc: float
    charge_cooler_degc: float
    ceiling_percent: float
    ceiling_with_friction_percent: float
    square_root_percent: float
    square_root_with_friction_percent: float
    richer_percent: float

    def words(self, shown: Shown | None = None) -> str:
        """One sentence."""
        charge = (shown or Shown()).text(abs(self.charge_cooler_degc), "temperature difference")
        return (
            f"Physics lets the cooler fuel cool the charge by at most {charge}: "
            f"{self.ceiling_percent:.1f} to {self.ceiling_with_friction_percent:.1f} % power by density at the very most, "
            f"{self.square_root_percent:.1f} to {self.square_root_with_friction_percent:.1f} % by the square-root law of the power standards; "
            f"a fixed jet would pass {self.richer_percent:.1f} % more fuel by mass."
        )


def expectation(fuel_cooler_degc: float, charge_degc: float = 25.0, air_fuel_ratio: float = AIR_FUEL_RATIO) -> Expectation:
    """For fuel that arrives cooler by so many degC (negative: hotter), with the charge at `charge_degc` before.

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
        * ((1 + EXPANSION_PER_DEGC * fuel_cooler_degc) ** 0.5 - 1),  # a jet's mass flow goes with the root of density
    )
