"""The board's own sources on the path: what does not touch the machine is tested under CPython directly."""

import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
FIRMWARE = ROOT / "firmware"

for folder in (FIRMWARE, HERE):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))


@pytest.fixture(scope="session")
def board_path():
    """Folders for MICROPYPATH: firmware, the tests' own board files, and the simulator's stand-in for the machine."""
    return (FIRMWARE, HERE, ROOT / "host" / "hotfuel")
