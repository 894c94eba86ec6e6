"""Requests of a page to its recorder: marks, quieting, ending; bounded, done once, and anything else is ignored."""

import asyncio
import contextlib
import json

import pytest
from hotfuel.live import asking, page, sounds
from hotfuel.log.append import LogWriter
from hotfuel.record import requests
from hotfuel_wire import codec
from serving import finished


class Asked:
    """A page on a folder whose log is open for writing, without a server; and the requests to its recorder."""

    def __init__(self, path):
        self.clock, self.wall = [0.0], [1_780_000_000.0]
        self.writer = LogWriter(path / "wire.log")
        self.recorder = requests.Requests(path)
        self.page = page.Page(path, "si", lambda sentence: None)
        self.quieting = sounds.Quieting()
        self.desk = asking.Desk(self.page.state, self.quieting, clock=lambda: self.clock[0], wall=lambda: self.wall[0])

    def ask(self, **request):
        return self.desk.ask(json.dumps(request), "14:03:20")

    def write_mark(self, wall_s, text):
        """As the recorder does."""
        header = {"tick": 0, "time_ms": 0, "wall_us": int(wall_s * 1e6), "text": text.encode()}
        self.writer.host_frame(codec.pack("mark", header))
        self.writer.work()
        while self.page.state.advance():
            pass
        self.desk.look()

    def close(self):
        self.page.state.close()
        self.writer.close()


@pytest.fixture
def asked(tmp_path):
    made = Asked(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize(
    "text",
    [
        "stumbled",
        "<script>alert(1)</script>",
        "\x1b]0;x\x07\x00\r\n--",
        "x" * 3000,
        "\u202egnp.exe",
        '"}\n{"kind": "end"}',
        "é" * 200,
        "  ",
    ],
)
def test_a_mark_of_any_text_becomes_one_mark_of_plain_text(asked, text):
    answer = asked.ask(id="1", kind="mark", text=text)
    assert answer["done"]
    (request,) = asked.recorder.new()
    assert request["kind"] == "mark"
    assert 0 < len(request["text"]) <= requests.TEXT_MAX
    assert request["text"].isprintable()
    assert not set(request["text"]) & set("\x00\x07\x1b\r\n\u202e")


@pytest.mark.parametrize(
    "junk",
    ["", "{", "[]", "null", "7", '"mark"', '{"kind": "mark"}', '{"kind": "format", "id": "1"}', '{"kind": ["mark"], "id": "1"}', "x" * (1 << 20),
     "[" * 3900, '{"kind": "mark", "id": 5}'],
)  # fmt: skip
def test_anything_but_a_request_is_ignored(asked, junk):
    assert asked.desk.ask(junk, "14:03:20") == {}
    assert asked.recorder.new() == []


def test_a_request_repeated_is_done_once(asked):
    first = asked.ask(id="a", kind="mark", text="x")
    assert asked.ask(id="a", kind="mark", text="x") == first
    assert len(asked.recorder.new()) == 1


def test_a_mark_is_confirmed_only_when_the_log_has_it_and_keeps_the_time_of_its_touch(asked):
    answer = asked.ask(id="a", kind="mark", text="stumbled", age_s=42.5)
    assert (answer["done"], answer["kept"]) == (True, False)
    (request,) = asked.recorder.new()
    assert request["wall_s"] == pytest.approx(1_780_000_000.0 - 42.5, abs=1e-5)
    asked.write_mark(request["wall_s"] + 1, "stumbled")  # another one
    assert not asked.ask(id="a", kind="mark", text="stumbled")["kept"]
    asked.write_mark(request["wall_s"], "stumbled")
    assert asked.ask(id="a", kind="mark", text="stumbled")["kept"]
    assert asked.recorder.new() == []


def test_a_mark_the_recorder_never_wrote_is_passed_on_again(asked):
    while asked.page.state.advance():
        pass
    asked.ask(id="a", kind="mark", text="died")
    (first,) = asked.recorder.new()
    for _ in range(3):
        asked.desk.look()
    assert asked.recorder.new() == []
    asked.clock[0] += 25
    asked.desk.look()
    (again,) = asked.recorder.new()
    assert (again["wall_s"], again["text"]) == (first["wall_s"], "died")


@pytest.mark.parametrize("age_s", [-1, 1e9, "x", None, True, [], 1e400])
def test_an_impossible_age_is_ignored(asked, age_s):
    asked.ask(id="a", kind="mark", text="x", age_s=age_s)
    (request,) = asked.recorder.new()
    assert request["wall_s"] == pytest.approx(1_780_000_000.0, abs=1e-5)


def test_requests_are_bounded_in_number(asked):
    done = [asked.ask(id=str(n), kind="mark", text="x")["done"] for n in range(50)]
    assert done == [True] * asking.BURST + [False] * (50 - asking.BURST)
    asked.clock[0] += 3
    assert [asked.ask(id=f"later{n}", kind="mark", text="x")["done"] for n in range(5)] == [True] * 3 + [False] * 2
    assert len(asked.recorder.new()) == asking.BURST + 3


@pytest.mark.parametrize("place", [{"a": 1}, ["pump"], 7, True])
def test_an_invalid_place_name_quiets_nothing(asked, place):
    assert not asked.ask(id="1", kind="quiet", place=place)["done"]
    assert asked.recorder.new() == []


def test_quieting_and_ending_reach_the_recorder(asked):
    asked.ask(id="1", kind="quiet")
    asked.ask(id="2", kind="end")
    assert [request["kind"] for request in asked.recorder.new()] == ["acknowledge", "end"]


def test_an_ended_recording_takes_no_requests(tmp_path):
    made = Asked(tmp_path)
    made.writer.close()
    answer = made.ask(id="1", kind="mark", text="x")
    assert not answer["done"]
    assert answer["words"] == "The recording has ended: nothing can be added."
    assert made.recorder.new() == []
    made.close()


def test_an_error_in_a_turn_is_reported_once_and_does_not_end_the_page(asked, monkeypatch):
    said = []
    asked.page._say = said.append
    turns = []

    def failing():
        turns.append(1)
        raise ZeroDivisionError("on trial")

    monkeypatch.setattr(asked.page, "turn", failing)

    async def trial():
        going = asyncio.ensure_future(asked.page.work())
        while len(turns) <= 2:  # for three, however busy the machine
            assert not going.done()
            await asyncio.sleep(0.01)
        going.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await going

    finished(trial())
    assert said == ["The page is not being updated (ZeroDivisionError: on trial); the recording is not affected."]
