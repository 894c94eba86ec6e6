"""The simulated car, from the options of `demo` and `simulator`. Imports no command."""

import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.errors import InputError
from hotfuel.files import whole
from hotfuel.units import parse

if TYPE_CHECKING:
    from hotfuel.car import Car
    from hotfuel.fuel import Fuel
    from hotfuel.simulator.car_model import CarModel
    from hotfuel.simulator.scenarios import Scenario
    from hotfuel.units import Shown

Speed = Annotated[float, typer.Option("--speed", help="How many times faster than real time.", min=0.1, max=1000)]
DRIVE = "summer drive"
_FIGURES = ("vapour_pressure", "t10", "t50", "t90", "t_vl20")  # of a fuel, those with a unit of either system


# The simulated car's further inputs, as in its car file
MORE_INPUTS = ("analogue_1", "analogue_2", "analogue_3", "flow_1", "flow_2")
_MORE = """
[[input]]
name = "mixture"
source = "analogue_1"
unit = "lambda"
points = [["0.5 V", 0.70], ["4.5 V", 1.30]]
uncertainty = 0.01

[[input]]
name = "throttle"
source = "analogue_2"
unit = "%"
points = [["0.6 V", 0], ["4.4 V", 100]]
uncertainty = 1

[[input]]
name = "second_pressure"
source = "analogue_3"
unit = "psi"
points = [["0.5 V", 0], ["4.5 V", 15]]
uncertainty = 0.1

[[input]]
name = "line_meter"
source = "flow_1"
pulses_per_litre = 8000
measures = "line"
uncertainty = 2

[[input]]
name = "return_meter"
source = "flow_2"
pulses_per_litre = 8000
measures = "return"
uncertainty = 2
"""


def altitude_m(text: str) -> float:
    """An altitude from text with its unit. Raises InputError, one sentence, outside what a car file takes."""
    from hotfuel.car import ALTITUDES

    metres = parse(text, "length")
    least, greatest = (parse(end, "length") for end in ALTITUDES)
    if not least <= metres <= greatest:
        raise InputError(f'"{text}" is not an altitude a car drives at (--altitude): allowed is {ALTITUDES[0]} to {ALTITUDES[1]}')
    return metres


def fuel_of(car: "Car", path: Path | None, shown: "Shown | None" = None) -> "Fuel":
    """The fuel of a car file. Raises InputError naming the file and its table, in the units its figures are written in."""
    try:
        return car.fuel(shown)
    except InputError as error:
        said = error
    try:
        car.fuel(_written_in(path, shown))
    except InputError as error:
        said = error
    raise InputError(f"{path.name if path else 'car file'}: fuel: {said}")


def _written_in(path: Path | None, otherwise: "Shown | None") -> "Shown | None":
    """The units that all figures of a readable car file's fuel are written in; `otherwise` where there are none or some in each."""
    from hotfuel.units import Shown

    if path is None:
        return otherwise
    table = tomllib.loads(path.read_text(encoding="utf-8"))["fuel"]
    written = [str(table[key]) for key in _FIGURES if key in table]
    systems = {"us" if text.endswith(("F", "psi")) else "si" for text in written}
    return Shown(systems.pop()) if len(systems) == 1 else otherwise


def car_text(scenario: "Scenario", more_inputs: bool = False) -> str:
    """The simulated car's file: the example, with the fuel, altitude and pump this drive really has. more_inputs: with what it has besides."""
    from hotfuel import car as car_file

    example, fuel = car_file.load(car_file.EXAMPLE), scenario.fuel
    values = {
        "altitude": f"{max(example.altitude_m or 0.0, scenario.altitude_m):g} m",
        "vapour_pressure": f"{fuel['vapour_pressure_kpa']:g} kPa",
        **{name: f"{fuel[name + '_degc']:g} degC" for name in ("t10", "t50", "t90")},
        "kind": "electric_submerged" if scenario.fixes.electric_pump else example.pump.kind,
    }
    text = car_file.EXAMPLE
    for key, value in values.items():
        text = re.sub(rf'^{key} = "[^"]*"', f'{key} = "{value}"', text, count=1, flags=re.MULTILINE)
    return text + (_MORE if more_inputs else "")


def leave_car_file(path: Path, text: str) -> None:
    """Write the simulated car's file. Raises InputError if there is another file: it may be the owner's own."""
    if path.exists() and (path.is_dir() or path.read_bytes() != text.encode()):
        raise InputError(f"{path} already exists and is another car file: give another path; nothing is overwritten")
    with whole(path) as part:
        part.write_text(text, encoding="utf-8")


def model_of(drive: str, seed: int) -> "CarModel":
    """The simulated car's run of a named drive."""
    from dataclasses import replace

    from hotfuel.simulator.car_model import CarModel
    from hotfuel.simulator.scenarios import scenarios

    known = scenarios()
    if drive not in known:
        raise InputError(f'there is no drive "{drive}"; there are {"; ".join(known)}')
    return CarModel(replace(known[drive], seed=seed))
