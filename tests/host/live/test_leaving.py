"""A page that a recorder started ends with the recording, and not before its viewers have been told that it has ended."""

import asyncio
import json
import os
import re
import signal
from pathlib import Path

import pytest
import synthetic
from hotfuel.cli import record
from hotfuel.live import leaving
from hotfuel.log.append import LogWriter
from serving import Served, finished
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect


async def viewer(url):
    port = re.search(r":(\d+)", url).group(1)
    return await websocket_connect(HTTPRequest(f"ws://127.0.0.1:{port}/live", headers={"Origin": f"http://127.0.0.1:{port}"}))


async def received(socket, enough=lambda told: False):
    """The messages it receives, until `enough` is true of one or until the server has gone."""
    found = []
    while (message := await socket.read_message()) is not None:
        found.append(json.loads(message))
        socket.write_message(json.dumps({"taken": found[-1]["sequence"]}))
        if enough(found[-1]):
            break
    return found


def test_a_viewer_is_told_that_the_recording_has_ended_before_the_page_ends(tmp_path):
    writer = LogWriter(tmp_path / "wire.log")
    writer.received(synthetic.drive(5.0).data)
    with Served(tmp_path, with_recorder=True) as server:

        async def trial():
            socket = await viewer(server.url)
            assert (await received(socket, lambda told: told["places"]))[-1]["live"]
            os.kill(server.process.pid, signal.SIGINT)  # Ctrl-C reaches the page too, and its recorder decides
            before = await received(socket, lambda told: told["sequence"] >= 6)
            assert all(told["live"] and not told["last"] for told in before)
            writer.close()
            return await received(socket)

        after = finished(trial())
        assert not after[-1]["live"]
        assert after[-1]["last"]
        server.process.join(60)
        assert (server.process.exitcode, server.complaints()) == (0, "")


class Page:
    """A log that is live according to `script`, second by second, and views that have the last message after `takes_s`."""

    def __init__(self, lives, takes_s=()):
        self.now, self.lives, self.left_at, self.takes_s = 0.0, lives, None, takes_s
        self.state = self
        self.caught_up, self.live_at = True, None

    @property
    def live(self):
        return self.lives(self.now)

    @property
    def views(self):
        return [
            type("View", (), {"has_the_last": self.left_at is not None and self.now >= self.left_at + s}) for s in self.takes_s
        ]

    def leave(self):
        self.left_at = self.now

    def end(self, within_s, ended=lambda now: False):
        """When it ended, by its own clock; None if it did not."""

        async def sleep(seconds):
            self.now += seconds
            for part in (0.75, 0.5, 0.25, 0.0):  # event loop turns run between the checks
                if self.lives(self.now - part * seconds):
                    self.live_at = self.now - part * seconds
            if self.now > within_s:
                raise TimeoutError

        async def trial():
            stop = asyncio.Event()
            try:
                await leaving.after_the_recording(self, stop, lambda: self.now, sleep, lambda: ended(self.now))
            except TimeoutError:
                return None
            assert stop.is_set()
            return self.now

        return finished(trial())


def test_without_a_viewer_it_ends_as_soon_as_the_recording_is_known_to_have_ended():
    page = Page(lambda now: now < 10)
    assert page.end(60) == pytest.approx(10 + leaving.GONE_S, abs=0.15)


@pytest.mark.parametrize(("takes_s", "expected_s"), [((0.1, 0.4), 0.4), ((0.1, 1e9), leaving.TOLD_S)])
def test_it_waits_for_every_viewer_but_not_for_ever(takes_s, expected_s):
    page = Page(lambda now: now < 10, takes_s)
    assert page.end(60) - page.left_at == pytest.approx(expected_s, abs=0.15)


def test_a_log_that_moves_to_another_folder_has_not_ended():
    assert Page(lambda now: not 10 < now < 10.4).end(60) is None


def test_nothing_has_ended_before_its_recorder_has_begun():
    assert Page(lambda now: 5 < now < 10).end(60) > 10
    assert Page(lambda now: False).end(60) is None


def test_a_recording_that_begins_and_ends_between_two_checks_has_ended():
    page = Page(lambda now: 5.001 < now < 5.049, (0.1,))
    assert page.end(60) == pytest.approx(5.1 + leaving.GONE_S, abs=0.15)


def test_a_recording_that_ended_before_the_page_saw_it_has_ended_when_its_recorder_says_so():
    assert Page(lambda now: False).end(60, lambda now: now > 7) == pytest.approx(7, abs=0.15)


def test_the_recorder_does_not_wait_for_a_page_that_shows_nothing_yet(tmp_path, monkeypatch):
    """A page that has not begun to show is ended at once; one that shows is given time to tell its viewers."""
    waited, began = [], []

    class Process:
        def __init__(self, command):
            began.append(Path(command[command.index("--shown") + 1]))

        def wait(self, timeout):
            waited.append(timeout)

        def terminate(self):
            pass

    monkeypatch.setattr(record.subprocess, "Popen", Process)
    for shows in (False, True):
        views = record._Views(tmp_path, [["--page"]], "si")
        leaving.show_token(began[-1] if shows else None)
        ended = leaving.taken_away(began[-1])
        views.end()
        assert (len(waited), ended()) == (int(shows), shows)
        assert not began[-1].parent.exists()
