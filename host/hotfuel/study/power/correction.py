"""Power corrected to standard weather: SAE J1349 and the older standard. They correct for the air only, not for the fuel's temperature."""

from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.units import convert

LARGEST_CORRECTION = 0.07  # SAE J1349: the correction holds within ±7 %


def saturation_pressure_kpa(temperature_degc: float) -> float:
    """Vapour pressure of water, kPa, by the Magnus formula 0.61094 exp(17.625 t / (t + 243.04)), -40 to 50 degC (Alduchov and Eskridge 1996)."""
    return float(0.61094 * np.exp(17.625 * temperature_degc / (temperature_degc + 243.04)))


@dataclass(frozen=True)
class Weather:
    """Air at the engine's intake: station pressure, temperature, vapour pressure of its moisture. `weather` makes one with checks."""

    pressure_kpa: float
    temperature_degc: float
    vapour_pressure_kpa: float

    @property
    def dry_kpa(self) -> float:
        """Pressure of the dry air."""
        return self.pressure_kpa - self.vapour_pressure_kpa


def weather(
    pressure_kpa: float,
    temperature_degc: float,
    *,
    relative_humidity_percent: float | None = None,
    dew_point_degc: float | None = None,
) -> Weather:
    """The weather of a pull, from station pressure (not the sea-level value), intake temperature and one of the two humidities.

    Raises InputError, one sentence, for values outside 60 to 110 kPa, -20 to 55 degC, 0 to 100 %, a dew point above the temperature, or none or
    both humidities. Example: weather(98, 30, relative_humidity_percent=50).dry_kpa -> 95.88.
    """
    if not 60 <= pressure_kpa <= 110:
        raise InputError(
            f"an air pressure of {pressure_kpa:g} kPa was given: allowed is 60 to 110 kPa, as a barometer beside the engine reads"
        )
    if not -20 <= temperature_degc <= 55:
        raise InputError(f"an intake air temperature of {temperature_degc:g} °C was given: allowed is -20 to 55 °C")
    if (relative_humidity_percent is None) == (dew_point_degc is None):
        raise InputError("power correction needs the humidity once: give the relative humidity or the dew point")
    if relative_humidity_percent is not None:
        if not 0 <= relative_humidity_percent <= 100:
            raise InputError(f"a relative humidity of {relative_humidity_percent:g} % was given: allowed is 0 to 100 %")
        vapour = relative_humidity_percent / 100 * saturation_pressure_kpa(temperature_degc)
    else:
        assert dew_point_degc is not None
        if not -40 <= dew_point_degc <= temperature_degc:
            raise InputError(
                f"a dew point of {dew_point_degc:g} °C was given: allowed is -40 °C to the air's {temperature_degc:g} °C"
            )
        vapour = saturation_pressure_kpa(dew_point_degc)
    return Weather(pressure_kpa, temperature_degc, vapour)


def sae_j1349(air: Weather) -> float:
    """Correction factor 1.18 (99 / Pd) sqrt((t + 273) / 298) - 0.18 with dry pressure in kPa; holds from 0.93 to 1.07 (SAE J1349, June 1990).

    Example: 98.0 kPa, 30 degC, 50 % humidity -> 1.0486.
    """
    return float(1.18 * (99 / air.dry_kpa) * np.sqrt((air.temperature_degc + 273) / 298) - 0.18)


def older_standard(air: Weather) -> float:
    """Correction factor to 29.92 inHg dry and 60 degF: (29.92 / Pd) sqrt((F + 459.67) / 519.67), the older standard of the trade.

    Example: 98.0 kPa, 30 degC, 50 % humidity -> 1.0828.
    """
    inhg = convert(air.dry_kpa, "pressure", "inHg")
    fahrenheit = convert(air.temperature_degc, "temperature", "degF")
    return float(29.92 / inhg * np.sqrt((fahrenheit + 459.67) / 519.67))


STANDARDS = {"SAE J1349": sae_j1349, "older standard": older_standard}


def check(standard: str) -> None:
    """Raises InputError, which lists the standards, for an unknown one."""
    if standard not in STANDARDS:
        raise InputError(f'the power standard "{standard}" is unknown: choose {" or ".join(STANDARDS)}')


def factor(air: Weather, standard: str = "SAE J1349") -> float:
    """The factor by the name of a standard. Raises InputError for an unknown one."""
    check(standard)
    return STANDARDS[standard](air)


def is_valid(air: Weather) -> bool:
    """Whether this weather is close enough to standard weather for absolute figures to be valid (SAE J1349: ±7 %)."""
    return abs(sae_j1349(air) - 1) <= LARGEST_CORRECTION
