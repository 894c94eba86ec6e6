"""`hotfuel record --page` as a whole: however the recording ends, a connected browser is told so before the page disappears."""

import asyncio
import contextlib
import json
import os
import pty
import re
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect


@pytest.mark.slow
@pytest.mark.parametrize("how", ["ctrl-c", "asked on the page"])
def test_a_browser_is_told_that_the_recording_has_ended(board_at, tmp_path, how):
    board = board_at(30, 45, 44)
    command = [sys.executable, "-m", "hotfuel", "record", "--port", board.device, "--out", str(tmp_path / "n1"), "--page"]
    options = {"stderr": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True, "start_new_session": True}
    with subprocess.Popen(command, **options) as recorder:
        said = ""
        while "http" not in said:
            said = recorder.stderr.readline()
            assert said, recorder.stdout.read()
        port = re.search(r":(\d+)/", said).group(1)

        async def trial():
            origin = {"Origin": f"http://127.0.0.1:{port}"}
            socket = await websocket_connect(HTTPRequest(f"ws://127.0.0.1:{port}/live", headers=origin))
            asked, told = False, {}
            while (message := await socket.read_message()) is not None:
                told = json.loads(message)
                socket.write_message(json.dumps({"taken": told["sequence"]}))
                if told["places"] and told["live"] and not asked:
                    asked = True
                    if how == "ctrl-c":
                        os.killpg(recorder.pid, signal.SIGINT)  # as a terminal does: every process gets one
                    else:
                        socket.write_message(json.dumps({"ask": json.dumps({"id": "1", "kind": "end"})}))
            return asked, told

        with ThreadPoolExecutor(1) as alone:  # a browser that other tests keep open has a loop running in this thread
            asked, last = alone.submit(asyncio.run, trial()).result()
        out, errors = recorder.communicate(timeout=60)
    assert asked
    assert (last["live"], last["last"]) == (False, True)
    assert recorder.returncode == 0, errors
    assert "look at it with: hotfuel review" in out
    assert "Traceback" not in errors


@pytest.mark.slow
def test_beside_a_terminal_the_pages_link_is_said_first_and_stays(board_at, tmp_path):
    board = board_at(30, 45, 44)
    ours, theirs = pty.openpty()
    command = [
        sys.executable,
        "-m",
        "hotfuel",
        "record",
        "--port",
        board.device,
        "--out",
        str(tmp_path / "n1"),
        "--page",
        "--terminal",
    ]
    said = ""
    with subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True) as recorder:
        os.close(theirs)
        while "keys: m mark" not in said:  # the terminal's last line
            said += os.read(ours, 4096).decode(errors="replace")
        recorder.send_signal(signal.SIGINT)
        with contextlib.suppress(OSError):  # it has closed its side
            while data := os.read(ours, 4096):
                said += data.decode(errors="replace")
    os.close(ours)
    link, drawn = said.index("live page: http://"), said.index("The driver does not operate this and does not read it")
    assert link < drawn
    assert "\x1b[" not in said[:link], "nothing was drawn before it, so nothing is drawn over it"
