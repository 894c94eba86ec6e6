"""Which column of a pull's file is what, and in which unit: guessed from the header, shown, overridable."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.units import UNITS

# role -> (dimension, words a header may use). Common practice, no source: what engine test stands and roller stands write.
ROLES: dict[str, tuple[str, tuple[str, ...]]] = {
    "rpm": (
        "engine speed",
        (
            "rpm",
            "engine speed",
            "enginespeed",
            "drehzahl",
            "engine rpm",
            "engrpm",
            "eng spd",
            "speed",
            "n",
            "1/min",
            "min-1",
            "u/min",
            "revs",
        ),
    ),
    "torque": (
        "torque",
        (
            "torque",
            "engine torque",
            "trq",
            "tq",
            "moment",
            "drehmoment",
            "lb-ft",
            "lbft",
            "ft-lb",
            "ft-lbs",
            "ftlb",
            "ftlbs",
            "nm",
        ),
    ),
    "power": ("power", ("power", "engine power", "pwr", "hp", "bhp", "whp", "chp", "leistung", "kw", "ps", "horsepower")),
    "time": ("time", ("time", "elapsed", "t", "sec", "seconds", "elapsed time", "zeit")),
    "fuel": ("temperature", ("fuel temp", "fuel temperature", "fuel", "fuel inlet temp", "fueltemp")),
    "lambda": ("", ("lambda", "lam", "λ")),
    "afr": ("", ("afr", "air fuel ratio", "air/fuel", "a/f", "air-fuel ratio", "air fuel")),
    "air": ("", ("air flow", "airflow", "maf", "cfm", "scfm", "air mass", "intake air flow")),
}
_SPELLINGS = {
    "n·m": "Nm", "n.m": "Nm", "n-m": "Nm", "newton metres": "Nm", "newton meters": "Nm",
    "ft-lbs": "lb-ft", "lb ft": "lb-ft", "lbf-ft": "lb-ft", "lb.ft": "lb-ft", "lbs-ft": "lb-ft", "ft lb": "lb-ft", "ft lbs": "lb-ft",
    "lbf.ft": "lb-ft",
    "ftlb": "lb-ft", "ftlbs": "lb-ft", "ft.lb": "lb-ft", "ft·lb": "lb-ft", "lb·ft": "lb-ft", "pound-feet": "lb-ft", "whp": "hp", "chp": "hp",
    "horsepower": "hp", "min-1": "rpm", "u/min": "rpm", "r/min": "rpm", "sec": "s", "seconds": "s", "deg c": "degC", "deg f": "degF",
    "celsius": "degC", "fahrenheit": "degF", "minutes": "min",
}  # fmt: skip
_CORRECTED = re.compile(r"\b(corr|corrected|sae|stp|std|j1349|j607|din|ece|cor)\b|\b(chp|ctq)\b", re.IGNORECASE)
_UNCORRECTED = re.compile(r"\b(uncorr|uncorrected|obs|observed|raw|measured|actual)\b", re.IGNORECASE)
_NOT_ENGINE = re.compile(
    r"\b(wheel|roller|vehicle|road|drum|fuel flow|loss|drag|target|oil|water|coolant|intake|exhaust|egt|boost)\b", re.IGNORECASE
)


@dataclass(frozen=True)
class Column:
    """One column put to use: position, header text as written, unit as this house writes it ("" unknown), whether the header says corrected."""

    position: int
    header: str
    unit: str
    corrected: bool


def unit_of(text: str, dimension: str) -> str:
    """The unit written in a header such as "Torque (Nm)", "power_hp" or "TORQUE [ft-lbs]", in the spelling of hotfuel.units; "" for none."""
    allowed = {name.casefold(): name for name in UNITS.get(dimension, {})}
    bracket = re.search(r"[\[(<{]([^\])>}]*)[\])>}]", text)
    words = text.replace("_", " ").split()
    tries = [bracket.group(1)] if bracket else []
    tries += [" ".join(words[-2:]), words[-1]] if words else []
    for candidate in tries:
        plain = candidate.strip(" .:;,").casefold()
        plain = _SPELLINGS.get(plain, plain).casefold()
        if plain in allowed:
            return allowed[plain]
    return ""


def _words(header: str) -> str:
    """The header without its unit in brackets, small, with single blanks."""
    return " ".join(re.sub(r"[\[(<{][^\])>}]*[\])>}]", " ", header).replace("_", " ").replace(".", " ").split()).casefold()


def _score(role: str, header: str) -> float:
    """How well a header fits a role; 0 not at all."""
    dimension, names = ROLES[role]
    words = _words(header)
    bare = " ".join(
        w for w in re.sub(r"[^\w\s/λ-]", " ", words).split() if not _CORRECTED.fullmatch(w) and not _UNCORRECTED.fullmatch(w)
    )
    unit = unit_of(header, dimension)
    score = 0.0
    if bare in names:
        score = 3.0
    elif any(bare.startswith(name + " ") or bare.endswith(" " + name) for name in names if len(name) > 2):
        score = 2.0
    elif not bare and unit:
        score = 1.0
    if score and role == "rpm" and unit_of(header, "speed"):
        return 0.0  # a road speed
    if score and role != "fuel" and _NOT_ENGINE.search(words):
        score -= 1.5
    if score and role in ("torque", "power") and _CORRECTED.search(words):
        score -= 0.25  # where both are there, what was measured is wanted
    return max(score + (0.5 if unit and score else 0.0), 0.0)


def assign(
    headers: Sequence[str], units_row: Sequence[str] | None, mapping: Mapping[str, str | int], unit_options: Mapping[str, str]
) -> dict[str, Column]:
    """{role: Column} for the header row.

    mapping: {role: header text or position from 1} and unit_options: {role: unit} override the guess. Raises InputError, one sentence, when a
    name given is not there, two columns fit equally well, or there is no engine speed or neither torque nor power.
    """
    known = ", ".join(f'"{" ".join(h.split())}"' for h in headers)  # a quoted heading may run over lines
    for role in (*mapping, *unit_options):
        if role not in ROLES:
            raise InputError(f'"{role}" is no kind of column: choose among {", ".join(ROLES)}')
    found: dict[str, Column] = {}
    taken: set[int] = set()
    for role, wanted in mapping.items():
        position = _position(headers, wanted, known)
        found[role] = _column(role, position, headers, units_row, unit_options)
        taken.add(position)
    for role in ROLES:
        if role in found:
            continue
        scores = [(_score(role, header), -i) for i, header in enumerate(headers) if i not in taken]
        best = max(scores, default=(0.0, 0))
        if best[0] <= 0:
            continue
        rivals = [headers[-i] for score, i in scores if score == best[0]]
        if len(rivals) > 1 and len(set(rivals)) > 1 and role in ("rpm", "torque", "power"):
            raise InputError(
                f"the columns {' and '.join(' '.join(each.split()) for each in rivals)} could each be the {role}: say which one it is ({role}=HEADER)"
            )
        taken.add(-best[1])
        found[role] = _column(role, -best[1], headers, units_row, unit_options)
    if "rpm" not in found:
        raise InputError(f"no column was recognised as engine speed among {known}: say which one it is (rpm=HEADER)")
    if "torque" not in found and "power" not in found:
        raise InputError(
            f"no column was recognised as torque or power among {known}: say which one it is (torque=HEADER or power=HEADER)"
        )
    return found


def _position(headers: Sequence[str], wanted: str | int, known: str) -> int:
    text = str(wanted).strip()
    same = [i for i, header in enumerate(headers) if header.strip().casefold() == text.casefold()]
    if same:
        return same[0]
    if text.isdigit() and 1 <= int(text) <= len(headers):
        return int(text) - 1
    raise InputError(f'there is no column "{text}": there are {known}')


def _column(
    role: str, position: int, headers: Sequence[str], units_row: Sequence[str] | None, options: Mapping[str, str]
) -> Column:
    dimension = ROLES[role][0]
    header = headers[position]
    below = units_row[position] if units_row is not None and position < len(units_row) else ""
    unit = unit_of(header, dimension) or unit_of(f"({below})", dimension)
    if role in options:
        unit = unit_of(f"({options[role]})", dimension)
        if not unit:
            allowed = ", ".join(UNITS.get(dimension, {})) or "none, it is a plain number"
            raise InputError(f'"{options[role]}" is no unit of {role}: allowed are {allowed}')
    if not unit and role == "rpm":
        unit = "rpm"
    if not unit and role == "time":
        unit = "s"
    corrected = bool(_CORRECTED.search(header.replace("_", " "))) and not _UNCORRECTED.search(header.replace("_", " "))
    return Column(position, header, unit, corrected)
