"""All unit conversions. Inside: SI and degrees Celsius, the unit in the name. At the edges: the user's units.

`parse("6 psi", "pressure")` gives kPa; `Shown("us").temperature(60)` gives "140.0 °F". A temperature *difference* converts by 1.8 without the 32.
"""

import math
import re
from dataclasses import dataclass
from typing import Any

from hotfuel.errors import InputError
from hotfuel.text import Size

ZERO_DEGC_IN_K = 273.15
STANDARD_GRAVITY_M_S2 = 9.80665
STANDARD_PRESSURE_KPA = 101.325
COVERAGE_95 = 1.96  # standard uncertainties that hold 95 % of a normal distribution, two-sided

# dimension -> unit as written -> (factor, offset): SI value = number * factor + offset. The first unit is the SI one.
# Exact by definition: inch 25.4 mm, pound 0.45359237 kg, US gallon 231 in3, standard gravity 9.80665 (NIST SP 811 appendix B).
_PSI = 6.894757293168361
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "pressure": {
        "kPa": (1, 0),
        "psi": (_PSI, 0),
        "bar": (100, 0),
        "mbar": (0.1, 0),
        "hPa": (0.1, 0),
        "Pa": (0.001, 0),
        "MPa": (1000, 0),
        "inHg": (3.386389, 0),
        "mmHg": (0.133322387415, 0),
        "inH2O": (0.249088908333, 0),
    },
    "temperature": {
        "degC": (1, 0),
        "°C": (1, 0),
        "C": (1, 0),
        "degF": (1 / 1.8, -32 / 1.8),
        "°F": (1 / 1.8, -32 / 1.8),
        "F": (1 / 1.8, -32 / 1.8),
        "K": (1, -ZERO_DEGC_IN_K),
    },
    "temperature difference": {
        "degC": (1, 0),
        "°C": (1, 0),
        "C": (1, 0),
        "K": (1, 0),
        "degF": (1 / 1.8, 0),
        "°F": (1 / 1.8, 0),
        "F": (1 / 1.8, 0),
    },
    "length": {"m": (1, 0), "mm": (0.001, 0), "cm": (0.01, 0), "km": (1000, 0), "ft": (0.3048, 0), "in": (0.0254, 0)},
    "volume": {
        "L": (1, 0),
        "l": (1, 0),
        "mL": (0.001, 0),
        "ml": (0.001, 0),
        "cc": (0.001, 0),
        "US gal": (3.785411784, 0),
        "gal": (3.785411784, 0),
        "US qt": (0.946352946, 0),
        "US pt": (0.473176473, 0),
        "in3": (0.016387064, 0),
        "ci": (0.016387064, 0),
        "cu in": (0.016387064, 0),
    },
    "volume flow": {
        "L/h": (1, 0),
        "l/h": (1, 0),
        "L/min": (60, 0),
        "mL/s": (3.6, 0),
        "gph": (3.785411784, 0),
        "US gal/h": (3.785411784, 0),
        "gal/h": (3.785411784, 0),
    },
    "mass": {"kg": (1, 0), "g": (0.001, 0), "lb": (0.45359237, 0), "oz": (0.028349523125, 0)},
    "mass flow": {"kg/h": (1, 0), "g/s": (3.6, 0), "lb/h": (0.45359237, 0)},
    "density": {
        "kg/m3": (1, 0),
        "g/cm3": (1000, 0),
        "kg/L": (1000, 0),
        "lb/US gal": (119.82642731689663, 0),
        "lb/gal": (119.82642731689663, 0),
    },
    "power": {"kW": (1, 0), "W": (0.001, 0), "hp": (0.745699871582, 0), "PS": (0.73549875, 0), "bhp": (0.745699871582, 0)},
    "torque": {
        "Nm": (1, 0),
        "N m": (1, 0),
        "lb-ft": (1.3558179483314, 0),
        "lbft": (1.3558179483314, 0),
        "ft-lb": (1.3558179483314, 0),
    },
    "time": {"s": (1, 0), "ms": (0.001, 0), "min": (60, 0), "h": (3600, 0)},
    "acceleration": {"g": (STANDARD_GRAVITY_M_S2, 0), "m/s2": (1, 0)},
    "percent": {"%": (1, 0), "% v/v": (1, 0), "vol-%": (1, 0)},
    "speed": {"km/h": (1, 0), "mph": (1.609344, 0)},
    "engine speed": {"rpm": (1, 0), "1/min": (1, 0)},
    "voltage": {"V": (1, 0), "mV": (0.001, 0)},
    "heat conductance": {"W/K": (1, 0)},
}

_COMMA = re.compile(r"[^,]*\d,\d.*")
_INCHES = re.compile(
    r"\s*(?:(\d+)[ -])?\s*(\d+)/([1-9]\d*)\s*in\s*"
)  # as shops write a tube's or a sheath's size: 3/8 in, 1 1/2 in
_QUANTITY = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")


def parse(text: str, dimension: str) -> float:
    """The SI value of a quantity written with its unit, e.g. parse("6 psi", "pressure") -> 41.37 (kPa); inches as a fraction, too: "3/8 in".

    Raises InputError if there is no number, no unit, or a unit of another dimension.
    """
    units = UNITS[dimension]
    allowed = ", ".join(units)
    if _COMMA.fullmatch(str(text)):
        raise InputError(f'"{text}" has a comma in its number: write it like 1.5 or 1600, with one of the units {allowed}')
    inches = _INCHES.fullmatch(str(text)) if dimension == "length" else None
    if inches is not None:
        whole, above, below = (float(part or 0) for part in inches.groups())
        text = f"{whole + above / below!r} in"
    match = _QUANTITY.fullmatch(str(text))
    if match is None:
        raise InputError(f'"{text}" is not a {dimension}: write a number and one of the units {allowed}')
    number, unit = match.groups()
    if not unit:
        raise InputError(f'"{text}" has no unit: a {dimension} needs one of {allowed}')
    if unit not in units:
        raise InputError(f'"{text}" has the unit "{unit}": a {dimension} is given in one of {allowed}')
    factor, offset = units[unit]
    value = float(number) * factor + offset
    if not math.isfinite(value):
        raise InputError(f'"{text}" is too large a number: write a {dimension} with one of {allowed}')
    return value


def convert(value, dimension: str, unit: str):
    """An SI value (number or array) in `unit`, e.g. convert(41.37, "pressure", "psi") -> 6.0."""
    factor, offset = UNITS[dimension][unit]
    return (value - offset) / factor


def expanded(standard_uncertainty: Any) -> Any:
    """The ± figure (95 %) shown for a standard uncertainty (number or array), in the same unit."""
    return COVERAGE_95 * standard_uncertainty


# dimension -> system -> (unit, decimals)
_SHOWN = {
    "temperature": {"si": ("°C", 1), "us": ("°F", 1)},
    "temperature difference": {"si": ("°C", 1), "us": ("°F", 1)},
    "pressure": {"si": ("kPa", 1), "us": ("psi", 1)},
    "length": {"si": ("m", 0), "us": ("ft", 0)},
    "volume": {"si": ("L", 2), "us": ("US gal", 2)},
    "volume flow": {"si": ("L/h", 1), "us": ("gph", 1)},
    "mass": {"si": ("kg", 1), "us": ("lb", 1)},
    "power": {"si": ("kW", 1), "us": ("hp", 1)},
    "torque": {"si": ("Nm", 1), "us": ("lb-ft", 1)},
    "speed": {"si": ("km/h", 0), "us": ("mph", 0)},
}


def checked_system(text: str) -> str:
    """The name of a system of units. Raises InputError unless it is "si" or "us"."""
    if text not in ("si", "us"):
        raise InputError(f'units "{text}" are not known: choose "si" or "us"')
    return text


@dataclass(frozen=True)
class Shown:
    """The units a user reads: `system` is "si" or "us"."""

    system: str = "si"

    def __post_init__(self) -> None:
        checked_system(self.system)

    def unit(self, dimension: str) -> str:
        """The unit's name, e.g. "°F"."""
        return _SHOWN[dimension][self.system][0]

    def value(self, si, dimension: str):
        """The number (or array) in the user's unit."""
        return convert(si, dimension, self.unit(dimension))

    def text(self, si: float, dimension: str, decimals: int | None = None) -> Size:
        """Number and unit for a person; nan prints as a dash, and a value that rounds to zero prints without a sign."""
        places = _SHOWN[dimension][self.system][1] if decimals is None else decimals
        return Size(float(self.value(si, dimension)), places, self.unit(dimension))

    def bound(self, si: float, dimension: str) -> Size:
        """Number and unit of a bound that is a whole number in SI units, and is printed as one there."""
        return self.text(si, dimension, 0 if self.system == "si" else None)

    def no_finer(self, si: float, dimension: str, doubt: float) -> Size:
        """Text of a temperature or difference no finer than its doubt, a difference: whole degrees where the doubt is one or more of the reader's degrees."""
        return self.text(si, dimension, 0 if float(self.value(doubt, "temperature difference")) >= 1 else 1)
