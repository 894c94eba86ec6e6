"""Which column of a pull's file is what, and in which unit: guessed from the heading's words, reported, and overridable."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.study.power.headings import ideas
from hotfuel.text import listed
from hotfuel.units import UNITS

# role -> its dimension ("" a plain number)
ROLES: dict[str, str] = {
    "rpm": "engine speed",
    "torque": "torque",
    "power": "power",
    "time": "time",
    "fuel": "temperature",
    "lambda": "",
    "afr": "",
    "air": "",
    "intake": "temperature",
    "barometer": "pressure",
    "humidity": "percent",
    "gear": "",
    "spark": "",
    "coolant": "temperature",
    "oil": "temperature",
    "speed": "speed",
}
NEEDED = ("rpm", "torque", "power")  # roles for which two columns that fit equally well are an error
# role -> sets of ideas, each of which makes a heading fit (see headings.IDEAS)
_FITS: dict[str, tuple[frozenset[str], ...]] = {
    role: tuple(frozenset(one.split()) for one in sets)
    for role, sets in {
        "rpm": ("rpm", "engine speed", "speed", "n"),
        "torque": ("torque",),
        "power": ("power",),
        "time": ("time",),
        "fuel": ("fuel temperature", "fuel"),
        "lambda": ("lambda",),
        "afr": ("afr", "air fuel ratio", "air fuel"),
        "air": ("maf", "air flow"),
        "intake": ("intake temperature", "air temperature", "intake"),
        "barometer": ("barometer", "air pressure"),
        "humidity": ("humidity",),
        "gear": ("gear",),
        "spark": ("spark",),
        "coolant": ("coolant temperature", "coolant"),
        "oil": ("oil temperature",),
        "speed": ("elsewhere speed", "speed"),
    }.items()
}
_SPELLINGS = {
    "n·m": "Nm", "n.m": "Nm", "n-m": "Nm", "newton metres": "Nm", "newton meters": "Nm", "newtonmeter": "Nm", "mn": "",
    "ft-lbs": "lb-ft", "lb ft": "lb-ft", "lbf-ft": "lb-ft", "lb.ft": "lb-ft", "lbs-ft": "lb-ft", "ft lb": "lb-ft", "ft lbs": "lb-ft",
    "lbf.ft": "lb-ft", "lbf·ft": "lb-ft", "lbf ft": "lb-ft",
    "ftlb": "lb-ft", "ftlbs": "lb-ft", "ft.lb": "lb-ft", "ft·lb": "lb-ft", "lb·ft": "lb-ft", "pound-feet": "lb-ft", "whp": "hp", "chp": "hp",
    "horsepower": "hp", "cv": "PS", "ch": "PS", "pk": "PS",
    "min-1": "rpm", "u/min": "rpm", "r/min": "rpm", "tr/min": "rpm", "giri/min": "rpm", "umin": "rpm", "1/min": "rpm", "min⁻¹": "rpm",
    "sec": "s", "seconds": "s", "sek": "s", "deg c": "degC", "deg f": "degF", "ºc": "degC", "ºf": "degF",
    "celsius": "degC", "fahrenheit": "degF", "minutes": "min", "kmh": "km/h", "km/std": "km/h", "percent": "%",
    "in hg": "inHg", "mm hg": "mmHg",
}  # fmt: skip
_ENGINE_ONLY = {
    "elsewhere",
    "oil",
    "coolant",
    "intake",
    "flow",
    "fuel",
    "pressure",
    "barometer",
    "temperature",
    "smoothing",
    "gear",
}
_NO_COLUMN = {
    "de",
    "del",
    "du",
    "des",
    "di",
    "della",
    "of",
    "the",
    "la",
    "le",
    "il",
    "el",
    "der",
    "im",
    "am",
    "at",
    "in",
    "no",
    "nr",
}
_NO_COLUMN |= {"corrected", "uncorrected", "run"}


@dataclass(frozen=True)
class Column:
    """One column in use: position, heading as written, unit as hotfuel.units spells it ("" unknown), whether the heading says corrected."""

    position: int
    header: str
    unit: str
    corrected: bool


def unit_of(text: str, dimension: str) -> str:
    """The unit written in a heading such as "Torque (Nm)", "power_hp" or "TORQUE [ft-lbs]", as hotfuel.units spells it; "" for none."""
    return _split_unit(text, dimension)[1]


def _split_unit(text: str, dimension: str) -> tuple[str, str]:
    """(the heading without its unit, the unit)."""
    allowed = {name.casefold(): name for name in UNITS.get(dimension, {})}
    bracket = re.search(r"[\[(<{]([^\])>}]*)[\])>}]", text)
    words = text.replace("_", " ").replace(",", " ").split()
    tries = [(text[: bracket.start()] + " " + text[bracket.end() :], bracket.group(1))] if bracket else []
    for count in (2, 1):
        tries += [(" ".join(words[:-count]), " ".join(words[-count:]))] if len(words) >= count else []
    tries += [(" ".join(words[:-2] + words[-1:]), words[-2])] if len(words) > 2 and words[-1].isdigit() else []
    for rest, candidate in tries:
        plain = candidate.strip(" .:;,").casefold()
        plain = _SPELLINGS.get(plain, plain).casefold()
        if plain and plain in allowed:
            return rest, allowed[plain]
    return text, ""


def corrected_by(header: str) -> bool | None:
    """Whether a heading states that its figures are corrected (True) or as measured (False); None if neither."""
    found = ideas(header)
    return None if not {"corrected", "uncorrected"} & set(found) else "uncorrected" not in found


def _bare(header: str) -> list[str]:
    """The ideas of a heading that distinguish columns."""
    return [idea for idea in ideas(header) if not idea.isdigit() and idea not in _NO_COLUMN]


def _fit(role: str, found: list[str]) -> float:
    whole = set(found)
    plain = whole if whole == {"engine"} else whole - {"engine"}
    best = 0.0
    for fit in _FITS[role]:
        if fit in (plain, whole):
            best = max(best, 3.0 if fit != {"speed"} or role == "speed" else 2.5)
        elif fit <= whole and fit != {"n"} and not (role != "speed" and fit == {"speed"}):
            best = max(best, 2.0 - (1.5 if whole & (_ENGINE_ONLY - fit) else 0.0))
    return best


def score(role: str, header: str) -> float:
    """How well a heading fits a role; 0 not at all."""
    rest, unit = _split_unit(header, ROLES[role])
    if not unit and ROLES[role]:
        rest = next((left for left, other in (_split_unit(header, dimension) for dimension in UNITS) if other), header)
    if role == "rpm" and (unit_of(header, "speed") or "elsewhere" in ideas(header)):
        return 0.0  # a road speed
    if role == "speed" and not unit:
        return 0.0
    found = _bare(rest)
    best = max(_fit(role, found), _fit(role, _bare(header)))  # "Engine RPM": the unit is the word itself
    if not found and unit:
        best = max(best, 1.0 if role in NEEDED else 0.0)
    elif unit and role in ("torque", "power") and found in (["m"], ["md"], ["p"], ["pe"]):
        best = max(best, 2.0)
    if best and role in ("torque", "power") and corrected_by(header):
        best -= 0.25  # if both exist, the measured one is preferred
    return max(best + (0.5 if unit and best else 0.0), 0.0)


def assign(
    headers: Sequence[str], units_row: Sequence[str] | None, mapping: Mapping[str, str | int], unit_options: Mapping[str, str]
) -> dict[str, Column]:
    """{role: Column} for the header row.

    mapping: {role: header text or position from 1} and unit_options: {role: unit} override the guess. Raises InputError, one sentence, when a
    given name does not exist, two columns fit equally well or have one heading, or there is no engine speed or neither torque nor power.
    """
    known = ", ".join(f'"{" ".join(h.split())}"' for h in headers)  # a quoted heading may span lines
    for role in (*mapping, *unit_options):
        if role not in ROLES:
            raise InputError(f'"{role}" is not a kind of column (--column ROLE=HEADING): choose from {", ".join(ROLES)}')
    below = [*(units_row or ()), *[""] * len(headers)]
    whole = [f"{header} ({unit})" if unit and "(" not in header else header for header, unit in zip(headers, below, strict=False)]
    found: dict[str, Column] = {}
    taken: set[int] = set()
    for role, wanted in mapping.items():
        position = _position(role, headers, wanted, known)
        found[role] = _column(role, position, headers, units_row, unit_options)
        taken.add(position)
    for role in ROLES:
        if role in found:
            continue
        scores = [(score(role, header), -i) for i, header in enumerate(whole) if i not in taken]
        best = max(scores, default=(0.0, 0))
        if best[0] <= 0 or (role not in NEEDED and best[0] < 1):
            continue
        rivals = [-i for score, i in scores if score == best[0]]
        if len(rivals) > 1 and role in NEEDED:
            named = [" ".join(headers[i].split()) for i in rivals]
            if len(set(named)) < len(named):
                raise _twins(role, [i for i, name in zip(rivals, named, strict=True) if named.count(name) > 1], headers)
            raise InputError(
                f"the columns {' and '.join(named)} could each be the {role}: say which one it is (--column {role}=HEADING)"
            )
        taken.add(-best[1])
        found[role] = _column(role, -best[1], headers, units_row, unit_options)
    if "torque" in found and "power" in found:
        _of_one_kind(
            found, [role for role in ("torque", "power") if role not in mapping], whole, headers, units_row, unit_options
        )
    if "rpm" not in found:
        raise InputError(f"no column was recognised as engine speed among {known}: say which one it is (--column rpm=HEADING)")
    if "torque" not in found and "power" not in found:
        raise InputError(
            f"no column was recognised as torque or power among {known}: say which one it is (--column torque=HEADING or --column power=HEADING)"
        )
    return found


def _of_one_kind(
    found: dict[str, Column],
    free: Sequence[str],
    whole: Sequence[str],
    headers: Sequence[str],
    units_row: Sequence[str] | None,
    options: Mapping[str, str],
) -> None:
    """Make torque and power both corrected or both as measured, where the file has such a column: otherwise they differ by the correction."""
    if found["torque"].corrected == found["power"].corrected:
        return
    for role in free:
        other = found["power" if role == "torque" else "torque"]
        fits = [
            (score(role, whole[i]), -i)
            for i, header in enumerate(headers)
            if i != other.position and bool(corrected_by(header)) == other.corrected and score(role, whole[i]) >= 1.5
        ]
        if fits:
            found[role] = _column(role, -max(fits)[1], headers, units_row, options)
            return


def _twins(role: str, positions: Sequence[int], headers: Sequence[str]) -> InputError:
    """Columns of one heading, which may be one quantity in two units, or two quantities, and are not several pulls."""
    places = listed([str(i + 1) for i in positions])
    return InputError(
        f'columns {places} are headed "{" ".join(headers[positions[0]].split())}": choose one, for example --column {role}={positions[0] + 1}; '
        "if they are pulls side by side, give each a title above, or its number in the heading"
    )


def _position(role: str, headers: Sequence[str], wanted: str | int, known: str) -> int:
    text = str(wanted).strip()
    same = [i for i, header in enumerate(headers) if header.strip().casefold() == text.casefold()]
    if len(same) > 1:
        raise _twins(role, same, headers)
    if same:
        return same[0]
    if text.isdigit() and 1 <= int(text) <= len(headers):
        return int(text) - 1
    raise InputError(f'there is no column "{text}" (--column): there are {known}')


def _column(
    role: str, position: int, headers: Sequence[str], units_row: Sequence[str] | None, options: Mapping[str, str]
) -> Column:
    dimension = ROLES[role]
    header = headers[position]
    below = units_row[position] if units_row is not None and position < len(units_row) else ""
    unit = unit_of(header, dimension) or unit_of(f"({below})", dimension)
    if role in options:
        unit = unit_of(f"({options[role]})", dimension)
        if not unit:
            allowed = ", ".join(UNITS.get(dimension, {}))
            raise InputError(
                f'"{options[role]}" is not a unit of {role} (--unit {role}=UNIT): allowed are {allowed or "none, it is a plain number"}'
            )
    if not unit and role == "rpm":
        unit = "rpm"
    if not unit and role == "time":
        unit = "s"
    if not unit and role == "humidity":
        unit = "%"
    return Column(position, header, unit, bool(corrected_by(header)))
