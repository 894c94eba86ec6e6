"""Makes a `Fuel` from a car file's entry: a class by name, a data sheet, or a blend of several of these."""

from collections.abc import Mapping, Sequence
from inspect import signature
from typing import cast

from hotfuel.errors import InputError
from hotfuel.fuel import blend
from hotfuel.fuel.fuel import Fuel, require_covered
from hotfuel.units import Shown

_NOT_COVERED = ("methanol_vol", "ether_vol", "mtbe_vol", "etbe_vol", "nitromethane_vol", "nitro_vol")
_CLASS_KEYS = ("class", "standard", "edition", "grade", "ethanol_vol")


def fuel_named(text: str, shown: Shown | None = None) -> Fuel:
    """A fuel by the name of its class: "D4814 A-1", "EN 228 D1 E5", "D5798 3"; or a blend by share or volume, "60 % D4814 E-5 and 40 % D4814 A-1".
    Raises InputError with what is allowed."""
    parts = blend.parts_of(text)
    if parts is None:
        return Fuel.from_class(text)
    shares, names = zip(*parts, strict=True)
    return blend.blended(blend.shares_of(shares), [Fuel.from_class(name) for name in names], shown)


def fuel_from(description: str | Mapping[str, object], shown: Shown | None = None) -> Fuel:
    """A fuel from a car file's entry: a class name, or a table of measurements with the names of `Fuel.from_measurements`.

    Examples: fuel_from("D4814 A-1"); fuel_from({"class": "EN 228 D1", "grade": "E5"}); fuel_from({"vapour_pressure_kpa": 60, "t10_degc": 55,
    "t50_degc": 100}); fuel_from({"blend": [{"share": "60 %", "class": "D4814 E-5"}, ...]}). Sentences about its figures are in the units of `shown`.
    Raises InputError for an unknown entry and for what is not covered (methanol, ethers, nitro compounds).
    """
    if isinstance(description, str):
        return fuel_named(description, shown)
    entries = dict(description)
    if "blend" in entries:
        _only(entries, ("blend",))
        parts = [dict(part) for part in cast("Sequence[Mapping[str, object]]", entries["blend"])]
        shares = blend.shares_of([str(part.pop("share", "")) for part in parts])
        return blend.blended(shares, [fuel_from(part, shown) for part in parts], shown)
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
