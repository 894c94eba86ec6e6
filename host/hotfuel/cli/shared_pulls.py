"""Pulls as `power` and `compare` take them from the command line: files, weather, columns. Imports no command."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from hotfuel.errors import UsageError
from hotfuel.units import Shown, parse


def weather_of(texts: list[str] | None, variants: dict[str, Any]) -> dict[str, Any] | None:
    """{variant: Weather} from --weather options; one without a name counts for all."""
    from hotfuel.study.power import correction

    if not texts:
        return None
    found: dict[str, Any] = {}
    for text in texts:
        name, equals, rest = text.partition("=")
        if equals and name.strip() not in variants:
            raise UsageError(f'--weather "{text}" is for "{name.strip()}": the variants are {", ".join(variants)}')
        parts = [part.strip() for part in (rest if equals else text).split(",")]
        if len(parts) != 3:
            raise UsageError(
                f'--weather "{text}" needs station pressure, intake temperature and humidity: "98.0 kPa, 30 degC, 50 %"'
            )
        one = correction.weather(
            parse(parts[0], "pressure"), parse(parts[1], "temperature"), relative_humidity_percent=parse(parts[2], "percent")
        )
        found |= {name.strip(): one} if equals else {known: one for known in variants if known not in found}
    return found


def compared(
    files: dict[str, list[Path]],
    baseline: str | None,
    shown: Shown,
    mapping: dict[str, Any] | None = None,
    unit: dict[str, str] | None = None,
    weather: dict[str, Any] | None = None,
    standard: str = "SAE J1349",
    corrected: bool | None = None,
    order: str | None = None,
    fuel_degc: dict[str, float] | None = None,
) -> Any:
    """The pulls of these files compared. Raises InputError for a file that holds no pull."""
    from hotfuel.study.power import pulls
    from hotfuel.study.power.power import compare_pulls

    paths = [path for each in files.values() for path in each]
    alike = {path for path in paths if sum(other.stem == path.stem for other in paths) > 1}  # mon/run1.csv and tue/run1.csv
    read = {
        name: [
            replace(pull, name=f"{path.parent.name}/{pull.name}") if path in alike else pull
            for path in each
            for pull in pulls.read(path, mapping=mapping, units=unit)
        ]
        for name, each in files.items()
    }
    driven = [name.strip() for name in order.split(",")] if order else None
    return compare_pulls(
        read,
        baseline,
        weather=weather,
        standard=standard,
        already_corrected=corrected,
        order=driven,
        fuel_degc=fuel_degc,
        shown=shown,
    )
