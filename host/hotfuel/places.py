"""The one table of a place's possible roles, and the names of a place and of the one behind its needle.

A carburettor inlet is one probe and two places: the fuel in the line, and the same fuel behind the float needle, at the bowl's pressure. The second is
named after the first; `behind_needle`, `is_behind_needle` and `probe_of` are the only code that knows how, and the words for it are here too.
"""

import re
from dataclasses import dataclass
from typing import Literal

RoleName = Literal[
    "tank",
    "suction",
    "pump",
    "line",
    "carburettor",
    "injector",
    "bowl",
    "air",
    "outside_air",
    "intake_air",
    "engine_bay_air",
    "other",
]
PressureOf = Literal["tank", "suction", "line", "bowl", ""]
CriterionOf = Literal["pump", "metering", "injection", "bowl", ""]

_NEEDLE = "_needle"
_NEEDLE_WORDS, _NARROW_NEEDLE = ", behind the needle", ", needle"
_OUTSIDE = re.compile(r"(?:^|_)(?:outside|outdoor|ambient)")
_AIR = re.compile(r"(?:^|_)air(?:_|$)")


@dataclass(frozen=True)
class Role:
    """One role of a place.

    pressure: whose pressure the fuel has here; "" where there is no fuel and so no limit. criterion: whose V/L the limit is for. fitting_degc: how far a
    fitting stands from the fuel, one standard deviation (assumption, common practice, no source). percolates: boiling here after a hot stop is usual
    and no warning, or not certain: an injected line may hold its pressure, and its pump fills it again before the engine turns.
    hose: at the end of a hose under the pump's pressure. inlet: the last place
    before the engine takes its fuel. throttled: a second place with its own limit lies behind the needle. air: the probe reads the air; outside: the air
    round the car; beside_line: air that may warm the line.
    """

    pressure: PressureOf
    criterion: CriterionOf
    fitting_degc: float
    percolates: bool = False
    hose: bool = False
    inlet: bool = False
    throttled: bool = False
    air: bool = False
    outside: bool = False
    beside_line: bool = False

    @property
    def has_limit(self) -> bool:
        """True where the probe reads fuel whose pressure is known, so that there is a limit."""
        return bool(self.pressure)

    @property
    def needle(self) -> bool:
        """True at a carburettor: a float needle lets the fuel in."""
        return self.throttled or self.pressure == "bowl"


ROLES: dict[str, Role] = {
    "tank": Role("tank", "pump", 5.0),
    "suction": Role("suction", "pump", 10.0),
    "pump": Role("suction", "pump", 15.0),
    "line": Role("line", "metering", 15.0, hose=True),
    "carburettor": Role("line", "metering", 15.0, hose=True, inlet=True, throttled=True),
    "injector": Role("line", "injection", 15.0, percolates=True, hose=True, inlet=True),
    "injected_line": Role(
        "line", "injection", 15.0, percolates=True, hose=True
    ),  # never in a car file: a line that ends at an injector
    "needle": Role("bowl", "metering", 15.0, percolates=True),  # never in a car file: the second place of a carburettor
    "bowl": Role("bowl", "bowl", 15.0, percolates=True),
    "air": Role("", "", 0.0, air=True, beside_line=True),
    "outside_air": Role("", "", 0.0, air=True, outside=True),
    "intake_air": Role("", "", 0.0, air=True),  # what the engine breathes
    "engine_bay_air": Role("", "", 0.0, air=True, beside_line=True),
    "other": Role("", "", 15.0),
}
HOSES = tuple(name for name, role in ROLES.items() if role.hose)
INLETS = tuple(name for name, role in ROLES.items() if role.inlet)


def role_named(role: str, place: str) -> str:
    """The role a car file means: "air" at a place called "outside", "air_outdoors", "ambient" or the like is outside air, as older files have it.
    Air at the outlet of a radiator or cooler is not."""
    return "outside_air" if role == "air" and _OUTSIDE.search(place) else role


def is_named_air(place: str) -> bool:
    """Whether a place says by its name that it is in the air: all that is known of it without a car file. Example: is_named_air("bay_air") -> True."""
    return bool(_AIR.search(place) or _OUTSIDE.search(place))


def behind_needle(place: str) -> str:
    """The name of the place behind the needle of a carburettor inlet. Example: "carb_inlet" -> "carb_inlet_needle"."""
    return place + _NEEDLE


def is_behind_needle(place: str) -> bool:
    """True for a name that `behind_needle` made; the car file allows no other."""
    return place.endswith(_NEEDLE)


def probe_of(place: str) -> str:
    """The place whose probe is read for this one: the inlet's for the place behind its needle, else the place itself."""
    return place.removesuffix(_NEEDLE)


def place_words(name: str) -> str:
    """A place's name as a person reads it. Example: place_words("carb_inlet_needle") -> "carb inlet, behind the needle"."""
    plain = probe_of(name).replace("_", " ")
    return plain + _NEEDLE_WORDS if is_behind_needle(name) else plain


def at_place(name: str) -> str:
    """Where in a sentence. Example: "at the pump", "behind the needle at the carb inlet"."""
    return f"{'behind the needle ' if is_behind_needle(name) else ''}at the {place_words(probe_of(name))}"


def behind_words(name: str, narrow: bool = False) -> str:
    """What is added to "its limit" for the place behind a needle, "" for any other."""
    return (" behind needle" if narrow else " behind the needle") if is_behind_needle(name) else ""


def narrow_words(name: str) -> str:
    """A place's name where a column is narrow. Example: narrow_words("carb_inlet_needle") -> "carb inlet, needle"."""
    return place_words(name).replace(_NEEDLE_WORDS, _NARROW_NEEDLE)


def place_from_words(words: str) -> str:
    """A place's name from what a person wrote, as `place_words` writes it or as it stands in the car file."""
    return words.strip().replace(_NEEDLE_WORDS, _NEEDLE).replace(" ", "_")
