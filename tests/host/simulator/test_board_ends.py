"""No process, port or folder of a simulated board is left behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady


def running(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc").exists(), reason="looks at processes in /proc")
@pytest.mark.parametrize("with_reader", [True, False])
def test_a_killed_host_leaves_no_process_behind(engine, with_reader, tmp_path):
    script = f"""
import sys, time, serial
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady
with SimulatedBoard(steady([1.0], [20.0], seconds=1e6), chips=("MAX31856",), speed=50, engine={engine!r}) as board:
    port = serial.Serial(board.device) if {with_reader} else None
    if port:
        port.read(300)
    while board._board is None:
        time.sleep(0.01)
    print(board._board.process.pid, flush=True)
    time.sleep(60)
"""
    # what a killed process cannot clean up is in this test's own folder
    host = subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, text=True, env={**os.environ, "TMPDIR": str(tmp_path)}
    )
    pid = int(host.stdout.readline())
    assert running(pid)
    os.kill(host.pid, signal.SIGKILL)
    host.wait()
    host.stdout.close()
    deadline = time.monotonic() + 30
    while running(pid) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not running(pid)


def test_closing_removes_everything(read):
    with SimulatedBoard(steady([1.0] * 3, [25.0] * 3, seconds=3000), speed=50) as board, read(board) as reader:
        reader.until(lambda: len(reader.ticks()) > 2)
        pid, device, folder = board._board.process.pid, board.device, board._folder
    assert not Path(device).exists()
    assert not folder.exists()
    assert not running(pid)
