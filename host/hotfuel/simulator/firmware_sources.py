"""Where the sources are that run on the board: in a checkout, or inside the installed wheel."""

from pathlib import Path

import hotfuel_wire

import hotfuel
from hotfuel.errors import InputError


def firmware_folder() -> Path:
    """The folder with the firmware's main.py: the checkout's firmware/, else the wheel's copy. Raises InputError when there is neither."""
    package = Path(hotfuel.__file__).parent
    for folder in (package.parent.parent / "firmware", package / "_firmware"):
        if (folder / "pins.py").is_file():
            return folder
    raise InputError(f"no firmware sources beside {package}; install hotfuel again, or run it from a checkout")


def wire_folder() -> Path:
    """The package hotfuel_wire itself, which runs on the board too."""
    return Path(hotfuel_wire.__file__).parent


def simulator_folder() -> Path:
    """The folder from which the board's process imports the package `simulator`."""
    return Path(__file__).parent.parent
