"""A killed board's folders are removed by the next board; those of a running one stay."""

import os
import signal
import subprocess
import sys
import tempfile
import time

import pytest
from hotfuel.simulator.scratch import PREFIX, ScratchFolder

pytestmark = pytest.mark.skipif(os.name != "posix", reason="no locks on folders here")
BOARD = """
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
with SimulatedBoard(steady([1.0], [24.0], seconds=3600), chips=("MAX31856",)) as board:
    print(board.device, flush=True)
    board.wait()
"""


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def folders(where):
    return sorted(where.glob(PREFIX + "*"))


def test_a_killed_boards_folders_are_removed_and_a_running_ones_kept(temporary):
    board = subprocess.Popen(
        [sys.executable, "-c", BOARD], env={**os.environ, "TMPDIR": str(temporary)}, stdout=subprocess.PIPE, text=True
    )
    try:
        assert board.stdout.readline().strip()
        made = folders(temporary)
        assert len(made) == 2  # its flash, and its port's name
        for folder in made:
            os.utime(folder, (0, 0))
        ScratchFolder().close()
        assert folders(temporary) == made
    finally:
        board.send_signal(signal.SIGKILL)
        board.wait()
        board.stdout.close()
    for folder in folders(temporary):
        os.utime(folder, (0, 0))
    ends = time.monotonic() + 30
    while folders(temporary) and time.monotonic() < ends:  # the kernel releases the locks a moment after the process ends
        ScratchFolder().close()
    assert folders(temporary) == []


def test_a_folder_just_made_is_left_alone(temporary):
    (temporary / (PREFIX + "of-another")).mkdir()
    scratch = ScratchFolder()
    assert scratch.path.is_dir()
    scratch.close()
    assert [folder.name for folder in folders(temporary)] == [PREFIX + "of-another"]
