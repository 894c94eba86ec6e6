"""Fuels known by a class: ASTM D4814, EN 228, ASTM D5798. The worst fuel that the class allows is used."""

import re
from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.fuel.components import rows
from hotfuel.fuel.fit import Data, sigma_of
from hotfuel.fuel.measurements import Measurements
from hotfuel.fuel.volatility import KPA_PER_PSI, class_row, require_range

TRACE_ETHANOL_VOL = 0.5  # less than this does not count as a blend (denaturant, carry-over): common practice, no source
# The worst fuel of a class rarely has both limits at once; T(V/L=20) is met, the vapour pressure as far as possible.
_CLASS_PRESSURE_SIGMA_KPA = 15.0
_D4814_ETHANOL_VOL = 15.0  # blends up to this are in the scope of D4814-18 (from memory)
_UNCOVERED = re.compile(r"\b(methanol|m\d{2,3}|mtbe|etbe|tame|ether|nitro\w*)\b", re.IGNORECASE)


@dataclass(frozen=True)
class ClassFuel:
    """The data of a class: figures for the mixture, T(V/L=20) if the standard has it, and sentences for the user."""

    name: str
    route: str
    data: Data
    t_vl20_degc: float | None
    notes: tuple[str, ...]
    edition: str
    from_memory: bool


def refuse_class_maxima(data: Measurements) -> None:
    """InputError if the values are the maxima of a D4814 class: the linear equation on those is unsafe by up to 12.6 degC."""
    for row in rows("d4814_volatility"):
        maxima = tuple(float(row[name]) for name in ("vapour_pressure_max_kpa", "t10_max_degc", "t50_max_degc"))
        given = (data.vapour_pressure_kpa, data.t10_degc, data.t50_degc)
        if all(value is not None and abs(value - limit) < 0.5 for value, limit in zip(given, maxima, strict=True)):
            raise InputError(
                f"{maxima[0]:g} kPa, T10 {maxima[1]:g} and T50 {maxima[2]:g} degC are the maxima of D4814 class {row['class']}, not a measured fuel: "
                'the equation would read up to 12.6 degC too high; use the class, e.g. Fuel.from_class("D4814", "A-1")'
            )


def find(standard: str, name: str, edition: str | None, ethanol_vol: float | None, grade: str | None) -> ClassFuel:
    """The class fuel of a standard; see `Fuel.from_class`."""
    text = " ".join(f"{standard} {name}".replace("_", " ").split())
    if _UNCOVERED.search(text):
        raise InputError(
            f'"{text}" is not covered: methanol, ethers and nitro compounds are outside these formulas; give a measured T(V/L=20)'
        )
    match = re.fullmatch(r"(?:astm\s*)?(d\s*4814|d\s*5798|en\s*228)\s*(.*)", text, re.IGNORECASE)
    if match is None:
        raise InputError(f'"{text}" is not a known standard: use "D4814 A-1", "EN 228 D1" or "D5798 1"')
    kind, rest = match.group(1).lower().replace(" ", ""), match.group(2).strip().upper()
    if ethanol_vol is not None:
        require_range(ethanol_vol, 0, 90, "ethanol", "vol-%")
    if kind == "d4814":
        return _d4814(rest, edition or "2018", ethanol_vol)
    if kind == "en228":
        parts = rest.split()
        chosen = (grade or (parts[1] if len(parts) > 1 else "E10")).upper()
        return _en228(parts[0] if parts else "", chosen, edition or "2012", ethanol_vol)
    return _d5798(rest, edition or "2011", ethanol_vol)


def _d4814(name: str, edition: str, stated_vol: float | None) -> ClassFuel:
    match = re.fullmatch(r"(AA|[A-Z])\s*-?\s*(\d)(?:\s+E(\d{1,2}))?", name)
    if match is None:
        raise InputError(
            f'"{name}" is not a D4814 class: write volatility class AA, A to E and vapour-lock class 1 to 6, e.g. "A-1", and its ethanol if you know it, '
            '"A-1 E0"'
        )
    named_vol = None if match.group(3) is None else float(match.group(3))
    if named_vol is not None and stated_vol is not None and named_vol != stated_vol:
        raise InputError(
            f'"{name}" has {named_vol:g} % ethanol in its name, and {stated_vol:g} % is given beside it: leave one out'
        )
    ethanol_vol = next((float(value) for value in (named_vol, stated_vol) if value is not None), 10.0)
    require_range(ethanol_vol, 0, _D4814_ETHANOL_VOL, "ethanol of a D4814 class (more is D5798's)", "vol-%")
    pressures = class_row("d4814_volatility", "2018", **{"class": match.group(1)})
    lock = class_row("d4814_vapour_lock", edition, **{"class": match.group(2)})
    pressure, minimum = float(pressures["vapour_pressure_max_kpa"]), float(lock["t_vl20_min_degc"])
    notes = (
        f"Known by class only: the worst fuel the class allows, {lock['meaning']} {minimum:g} °C ({lock['source']}), with a vapour "
        f"pressure near or above the class's maximum of {pressure:g} kPa. A fuel in the tank is usually better.",
        "At other pressures and V/L the limit comes from a mixture anchored to this value.",
    )
    return ClassFuel(
        f"D4814 {match.group(1)}-{match.group(2)}{'' if named_vol is None else f' E{named_vol:g}'}",
        f"vapour-lock class {match.group(2)} of ASTM D4814",
        Data(ethanol_vol, {"vapour_pressure_kpa": (pressure, _CLASS_PRESSURE_SIGMA_KPA), "t_vl20_degc": (minimum, 0.3)}),
        minimum,
        notes,
        f"ASTM D4814 ({edition})",
        True,
    )


def _en228(name: str, grade: str, edition: str, ethanol_vol: float | None) -> ClassFuel:
    if grade not in ("E5", "E10"):
        raise InputError(f'grade "{grade}" is not in EN 228: choose E5 or E10')
    row = class_row("en228_volatility", edition, **{"class": name, "grade": grade})
    pressure, e70, e100 = (float(row[key]) for key in ("vapour_pressure_max_kpa", "e70_max_vol", "e100_max_vol"))
    if row["vapour_lock_index_max"]:  # at the maximum vapour pressure the index allows less evaporated at 70 degC
        e70 = min(e70, (float(row["vapour_lock_index_max"]) - 10 * pressure) / 7)
    ethanol = float(grade[1:]) if ethanol_vol is None else float(ethanol_vol)
    require_range(ethanol, 0, float(grade[1:]), f"ethanol of EN 228 {grade}", "vol-%")
    holds = "" if ethanol == float(grade[1:]) else f" with {ethanol:g} % ethanol"
    notes = (
        f"Known by class only: the most volatile fuel of the class, vapour pressure {pressure:g} kPa, {e70:.1f} % evaporated at 70 °C, "
        f"{e100:g} % at 100 °C.",
        "EN 228 has no T(V/L=20); the limit comes from a mixture with these values.",
    )
    return ClassFuel(
        f"EN 228 {name} {grade}{holds}",
        f"class {name} of EN 228, grade {grade}",
        Data(
            ethanol,
            {
                "vapour_pressure_kpa": (pressure, 0.02),
                "e70_vol": (e70, sigma_of("e70_vol", ethanol)),
                "e100_vol": (e100, sigma_of("e100_vol", ethanol)),
            },
        ),
        None,
        notes,
        f"EN 228 ({edition})",
        row["basis"] == "memory",
    )


def _d5798(name: str, edition: str, ethanol_vol: float | None) -> ClassFuel:
    row = class_row("d5798_classes", edition, **{"class": name})
    pressure = float(row["vapour_pressure_max_psi"]) * KPA_PER_PSI
    ethanol = 70.0 if ethanol_vol is None else float(ethanol_vol)
    require_range(ethanol, float(row["ethanol_min_vol"]), float(row["ethanol_max_vol"]), "ethanol", "vol-%")
    notes = (
        f"Known by class only: vapour pressure at the class's maximum of {pressure:.1f} kPa, {ethanol:g} vol-% ethanol assumed.",
        "The limit comes from a mixture with these values.",
    )
    return ClassFuel(
        f"D5798 {name}",
        f"class {name} of ASTM D5798",
        Data(ethanol, {"vapour_pressure_kpa": (pressure, 0.02)}),
        None,
        notes,
        f"ASTM D5798 ({edition})",
        False,
    )
