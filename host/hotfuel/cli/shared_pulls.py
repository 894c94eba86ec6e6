"""Pulls as `power` and `compare` take them from the command line: files and which of their pulls, weather, columns. Imports no command."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict, Unpack

from hotfuel.errors import InputError, UsageError
from hotfuel.units import Shown, parse

if TYPE_CHECKING:  # they bring numpy with them, which --help does without
    from hotfuel.study.power.correction import Weather
    from hotfuel.study.power.power import PowerComparison
    from hotfuel.study.power.pulls import Pull

WANTED = "NAME=FILE[:NUMBERS][,FILE...]"
_CHOSEN = re.compile(r"(.+?):(\d+(?:-\d+)?)")
_NUMBERS = re.compile(r"(\d+)(?:-(\d+))?")


@dataclass(frozen=True)
class Chosen:
    """A file and the numbers, as `--list` shows them, of the pulls taken from it; () all."""

    path: Path
    numbers: tuple[int, ...] = ()


def chosen(arguments: list[str]) -> dict[str, list[Chosen]]:
    """NAME=FILE[:NUMBERS][,FILE...] as {name: [Chosen]}: before=day.csv:1,4-6,other.csv. A name may occur more than once. Raises UsageError."""
    found: dict[str, list[Chosen]] = {}
    for text in arguments:
        name, equals, rest = text.partition("=")
        if not equals or not name.strip() or not rest.strip(","):
            raise UsageError(f'"{text}" is not {WANTED}; write for example before=run1.csv,run4.csv or before=day.csv:1,4-6')
        into = found.setdefault(name.strip(), [])
        for piece in (piece.strip() for piece in rest.split(",")):
            if not piece:
                continue
            again = _NUMBERS.fullmatch(piece)
            if again and into and into[-1].numbers and not Path(piece).exists():
                into[-1] = replace(into[-1], numbers=(*into[-1].numbers, *_span(again, text)))
                continue
            match = None if Path(piece).exists() else _CHOSEN.fullmatch(piece)
            if match is None:
                into.append(Chosen(Path(piece)))
                continue
            numbers = _NUMBERS.fullmatch(match.group(2))
            into.append(Chosen(Path(match.group(1)), _span(numbers, text) if numbers else ()))
    return found


def _span(match: "re.Match[str]", text: str) -> tuple[int, ...]:
    first = int(match.group(1))
    last = int(match.group(2)) if match.group(2) else first
    if not first <= last < first + 1000:
        raise UsageError(f'"{text}" chooses pulls {match.group()}: write the smaller number first, as in day.csv:1,4-6')
    return tuple(range(first, last + 1))


def per_file(texts: list[str] | None, option: str) -> dict[str, dict[str, str]]:
    """[FILE:]ROLE=VALUE options as {file name, "" for all: {role: value}}. Raises UsageError that names the option."""
    from hotfuel.study.power.columns import ROLES

    found: dict[str, dict[str, str]] = {}
    for text in texts or []:
        left, equals, value = text.partition("=")
        file, _, role = left.rpartition(":")
        if not equals or not role or not value:
            raise UsageError(f'{option} "{text}" is not [FILE:]ROLE=VALUE; write for example {option} day.csv:rpm=n')
        if role not in ROLES:
            raise UsageError(f'{option} "{text}" is for "{role}", which is not a kind of column: choose from {", ".join(ROLES)}')
        found.setdefault(file, {})[role] = value
    return found


def read(path: Path, columns: dict[str, dict[str, str]], units: dict[str, dict[str, str]]) -> "list[Pull]":
    """All pulls of a file, with the columns and units given for all files or for this one."""
    from hotfuel.study.power import pulls

    def own(options: dict[str, dict[str, str]]) -> dict[str, str]:
        return {**options.get("", {}), **options.get(path.name, {}), **options.get(str(path), {})}

    return pulls.read(path, mapping={role: name for role, name in own(columns).items()}, units=own(units))


def of_variants(
    files: dict[str, list[Chosen]], columns: dict[str, dict[str, str]], units: dict[str, dict[str, str]]
) -> "dict[str, list[Pull]]":
    """{variant: its pulls}. Raises InputError for a file without a pull or without the one chosen, UsageError for an option about a file that was not given."""
    from hotfuel.study.power import pulls

    paths = list(dict.fromkeys(one.path for each in files.values() for one in each))
    known = {"", *(path.name for path in paths), *map(str, paths)}
    for option, given in (("--column", columns), ("--unit", units)):
        strange = [file for file in given if file not in known]
        if strange:
            raise UsageError(f'{option} is for "{strange[0]}": the files are {", ".join(path.name for path in paths)}')
    alike = {path for path in paths if sum(other.stem == path.stem for other in paths) > 1}  # mon/run1.csv and tue/run1.csv
    held = {path: read(path, columns, units) for path in paths}
    result: dict[str, list[Pull]] = {}
    for name, each in files.items():
        result[name] = []
        for one in each:
            there = pulls.numbers(held[one.path])
            missing = [number for number in one.numbers if number not in there]
            if missing:
                raise InputError(
                    f"{one.path.name} has no pull {missing[0]}: it has {', '.join(map(str, there))} (hotfuel power --list {one.path.name})"
                )
            for number, pull in zip(there, held[one.path], strict=True):
                if not one.numbers or number in one.numbers:
                    result[name].append(replace(pull, name=f"{one.path.parent.name}/{pull.name}") if one.path in alike else pull)
    return result


def listed(path: Path, pulls: "list[Pull]", shown: Shown) -> list[str]:
    """The pulls of a file, one per line, with the number by which each is chosen."""
    from hotfuel.report import power_words
    from hotfuel.study.power.pulls import numbers

    lines = [f"{path.name}: {len(pulls)} pull{'' if len(pulls) == 1 else 's'}"]
    for number, pull in zip(numbers(pulls), pulls, strict=True):
        facts = pull.facts
        told = [
            f"{pull.rpm[0]:.0f} to {pull.rpm[-1]:.0f} rpm",
            f"up to {shown.text(float(pull.power_kw.max()), 'power')} and {shown.text(float(pull.torque_nm.max()), 'torque')}",
        ]
        told += [facts.driven_at.strftime("%Y-%m-%d %H:%M")] if facts.driven_at else []
        told += [f"gear {facts.gear:g}"] if facts.gear is not None else []
        told += (
            [
                f"air {shown.text(facts.weather.temperature_degc, 'temperature')}, {shown.text(facts.weather.pressure_kpa, 'pressure')}"
            ]
            if facts.weather
            else []
        )
        told += ["corrected"] if pull.corrected else []
        lines.append(f"  {number:>3}  {pull.name}: {', '.join(told)}")
    lines.append(f"  read: {'; '.join(pulls[0].mapping)}")
    lines += [f"  {note}" for note in dict.fromkeys(power_words.remark(one) for pull in pulls for one in pull.remarks)]
    return lines


def quantity(text: str, dimension: str, option: str) -> float:
    """As hotfuel.units.parse; an error names the option as it was typed. Raises UsageError."""
    try:
        return parse(text, dimension)
    except InputError as error:
        raise UsageError(f"{option} {error}") from None


def weather_of(texts: list[str] | None, variants: Iterable[str]) -> "dict[str, Weather] | None":
    """{variant: Weather} from --weather options; one without a name applies to all."""
    from hotfuel.study.power import correction

    if not texts:
        return None
    found: dict[str, Weather] = {}
    for text in texts:
        name, equals, rest = text.partition("=")
        if equals and name.strip() not in variants:
            raise UsageError(f'--weather "{text}" is for "{name.strip()}": the variants are {", ".join(variants)}')
        parts = [part.strip() for part in (rest if equals else text).split(",")]
        if len(parts) != 3:
            raise UsageError(
                f'--weather "{text}" needs station pressure, intake temperature and humidity: "98.0 kPa, 30 degC, 50 %"'
            )
        kinds = zip(parts, ("pressure", "temperature", "percent"), strict=True)
        pressure, temperature, humidity = (quantity(part, dimension, "--weather") for part, dimension in kinds)
        try:
            one = correction.weather(pressure, temperature, relative_humidity_percent=humidity)
        except InputError as error:
            raise UsageError(f'--weather "{text}": {error}') from None
        found |= {name.strip(): one} if equals else {known: one for known in variants if known not in found}
    return found


class Options(TypedDict, total=False):
    """Options of `compare_pulls` that are handed on as they are."""

    weather: "dict[str, Weather] | None"
    standard: str
    already_corrected: bool | None
    fuel_degc: dict[str, float]
    fuel_half_degc: dict[str, float]
    margin_degc: dict[str, float]
    band_rpm: tuple[float, float] | None


def compared(
    files: dict[str, list[Chosen]],
    baseline: str | None,
    *,
    columns: dict[str, dict[str, str]] | None = None,
    units: dict[str, dict[str, str]] | None = None,
    order: str | None = None,
    **options: "Unpack[Options]",
) -> "PowerComparison":
    """The pulls of these files compared; other options as `compare_pulls`. Raises InputError for a file without a pull."""
    from hotfuel.study.power.power import compare_pulls

    groups = of_variants(files, columns or {}, units or {})
    return compare_pulls(groups, baseline, order=_order(order, groups) if order else None, **options)


def _order(text: str, groups: "dict[str, list[Pull]]") -> list[str]:
    """The names in --order; a number stands for the pull that has it, if only one does."""
    every = [pull for pulls in groups.values() for pull in pulls]
    names = {pull.name for pull in every}
    found = []
    for token in (token.strip() for token in text.split(",")):
        bearers = [pull.name for pull in every if token == str(pull.number if pull.number is not None else pull.position)]
        found.append(bearers[0] if token not in names and len(bearers) == 1 else token)
    return found
