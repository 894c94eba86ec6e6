"""The package `emulated` on the path, and the image that the trials run on."""

import os
import sys
from pathlib import Path

import pytest

_TESTS = str(Path(__file__).parent.parent)
if _TESTS not in sys.path:
    sys.path.insert(0, _TESTS)

IMAGE = "HOTFUEL_BOARD_IMAGE"


@pytest.fixture(scope="session")
def rig():
    """The boards of the image that the environment variable names, each started once for all trials."""
    named = os.environ.get(IMAGE)
    if not named:
        pytest.skip(f"{IMAGE} names no MicroPython image (RPI_PICO, a .uf2 file from micropython.org/download/RPI_PICO)")
    if not Path(named).is_file():
        pytest.skip(f"{IMAGE} names {named}, which does not exist")
    for module in ("rp2040py", "littlefs", "thermocouple_its90"):
        pytest.importorskip(module, reason=f"{module} is not installed: pip install -e '.[emulator]'")
    from emulated.rig import Rig

    return Rig(Path(named))
