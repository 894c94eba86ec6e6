"""Makes a `Fuel` from a car file's entry: a class by name, or a data sheet."""

from collections.abc import Mapping
from inspect import signature

from hotfuel.errors import InputError
from hotfuel.fuel.fuel import Fuel, require_covered
from hotfuel.units import Shown

_NOT_COVERED = ("methanol_vol", "ether_vol", "mtbe_vol", "etbe_vol", "nitromethane_vol", "nitro_vol")
_CLASS_KEYS = ("class", "standard", "edition", "grade", "ethanol_vol")


def fuel_named(text: str) -> Fuel:
    """A fuel by the name of its class: "D4814 A-1", "EN 228 D1 E5", "D5798 3". Raises InputError with what is allowed."""
    return Fuel.from_class(text)


def fuel_from(description: str | Mapping[str, object], shown: Shown | None = None) -> Fuel:
    """A fuel from a car file's entry: a class name, or a table of measurements with the names of `Fuel.from_measurements`.

    Examples: fuel_from("D4814 A-1"); fuel_from({"class": "EN 228 D1", "grade": "E5"}); fuel_from({"vapour_pressure_kpa": 60, "t10_degc": 55,
    "t50_degc": 100}). Sentences about its figures are in the units of `shown`.
    Raises InputError for an unknown entry and for what is not covered (methanol, ethers, nitro compounds).
    """
    if isinstance(description, str):
        return fuel_named(description)
    entries = dict(description)
    require_covered(**{key: float(entries.pop(key)) for key in _NOT_COVERED if key in entries})  # type: ignore[arg-type]
    if "class" in entries:
        _only(entries, _CLASS_KEYS)
        name = f"{entries.pop('standard', '')} {entries.pop('class')}"
        return Fuel.from_class(name, **entries)  # type: ignore[arg-type]
    _only(entries, tuple(name for name in signature(Fuel.from_measurements).parameters if name != "shown"))
    if "vapour_pressure_kpa" not in entries:
        raise InputError('a measured fuel needs vapour_pressure_kpa (DVPE at 37.8 degC); or give a class, e.g. "D4814 A-1"')
    return Fuel.from_measurements(**entries, shown=shown)  # type: ignore[arg-type]


def _only(entries: Mapping[str, object], allowed: tuple[str, ...]) -> None:
    unknown = [key for key in entries if key not in allowed]
    if unknown:
        raise InputError(f'the fuel entry "{unknown[0]}" is not known: use {", ".join(allowed)}')
