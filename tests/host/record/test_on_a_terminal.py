"""The recording loop on a real pseudo-terminal: killed at any moment, and with a terminal that disappears and comes back."""

import os
import pty
import signal
import subprocess
import sys
import threading
import time
import tty

import pytest
import wire_logs
from hotfuel.link import receive
from hotfuel.link.receive import Link
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.samples import decode
from hotfuel_wire import codec, framing

NUMBER = codec.description_id(wire_logs.description(1))


def frame(time_ms, hot=1):
    return framing.encode(wire_logs.reading(time_ms, NUMBER, [(hot, 2, 3)]))


def feed(fd, stop, period_s=0.002):
    """Frames into our end of a pseudo-terminal; returns the list of tick times sent, filled as it goes."""
    sent = []

    def run():
        number = 0
        while not stop.is_set():
            number += 1
            os.write(fd, frame(100 * number))
            sent.append((time.monotonic(), number))
            time.sleep(period_s)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return sent, thread


RECORD = """
import sys
from hotfuel.link.receive import Link
from hotfuel.log import identity
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
with Link(sys.argv[1]) as link, LogWriter(sys.argv[2]) as writer:
    print("recording", flush=True)
    Recorder(link, writer).run()
"""


@pytest.mark.parametrize("after_s", [0.3, 0.5, 0.81])
def test_killed_while_recording_from_a_terminal(tmp_path, after_s):
    """SIGKILL at any moment: every frame older than a second is there, none is invented, the log opens."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    stop = threading.Event()
    process = subprocess.Popen(
        [sys.executable, "-c", RECORD, os.ttyname(theirs), tmp_path / "wire.log"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout.readline() == "recording\n"
        sent, thread = feed(ours, stop)
        while not sent:
            time.sleep(0.001)
        time.sleep(after_s)
        process.send_signal(signal.SIGKILL)
        killed = time.monotonic()
        process.wait()
        stop.set()
        thread.join()
    finally:
        process.kill()
        process.stdout.close()
        os.close(ours)
        os.close(theirs)
    got = (decode(tmp_path).readings["time"] * 10).round().astype(int).tolist()
    must = [number for at, number in sent if at < killed - 0.25]  # a quarter of what is promised
    assert must
    assert got == list(range(1, len(got) + 1))
    assert len(got) >= len(must)


def test_a_terminal_that_vanishes_and_comes_back(tmp_path, monkeypatch):
    """The other side closes; a new one appears under the same name; the recording continues by itself, and the gap is in the log."""
    name = tmp_path / "port"

    def new_terminal():
        ours, theirs = pty.openpty()
        tty.setraw(theirs)
        name.unlink(missing_ok=True)
        name.symlink_to(os.ttyname(theirs))
        return ours, theirs

    monkeypatch.setattr(receive, "RECONNECT_EVERY_S", 0.05)
    ours, theirs = new_terminal()
    done = threading.Event()
    with Link(str(name)) as link, LogWriter(tmp_path / "wire.log") as writer:
        made = Recorder(link, writer)
        thread = threading.Thread(target=made.run, kwargs={"stop": done.is_set})
        thread.start()
        os.write(ours, frame(100))
        deadline = time.monotonic() + 60
        while made.counts.frames < 1 and time.monotonic() < deadline:
            time.sleep(0.01)
        name.unlink()  # the system gives a closed terminal's number to the next, which may be another test's board
        os.close(ours)
        os.close(theirs)
        time.sleep(0.3)
        ours, theirs = new_terminal()
        number = 2
        while made.counts.frames < 5 and time.monotonic() < deadline:
            os.write(ours, frame(100 * number))
            number += 1
            time.sleep(0.1)
        done.set()
        thread.join()
    os.close(ours)
    os.close(theirs)
    decoded = decode(tmp_path)
    assert decoded.readings["time"][0] == 0.1
    assert len(decoded.readings) >= 5
    (gap,) = decoded.losses.gaps
    assert gap.reason == "port_gone"
    assert 0.3 < gap.length_s < 10
