"""The terminal: the page's text, no markup from outside, staleness, the end of a recording."""

import io
import json
import re
from dataclasses import replace

import pytest
import synthetic
from hotfuel.errors import InputError
from hotfuel.live import sounds, terminal
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.log.append import LogWriter
from hotfuel.record import requests
from hotfuel.units import Shown
from rich.console import Console


def printed(now, width=100, height=None):
    out = Console(file=io.StringIO(), width=width, force_terminal=False)
    out.print(terminal.picture(now, width, height))
    return out.file.getvalue()


def panel_of(path, live=True, age_s=0.3):
    """The panel of a recording, as it was while it went on and its last reading was this old."""
    with LiveState(path) as state:
        while state.advance(60):
            pass
        return panel(replace(state.situation(), live=live, age_s=age_s), Shown("us"))


@pytest.mark.parametrize("width", [80, 140])
def test_a_finished_recording_is_shown_once(session, width):
    out = Console(file=io.StringIO(), width=width)
    terminal.show(session(synthetic.drive(400.0).data), units="us", console=out)
    text = out.file.getvalue()
    assert text.count("This recording has ended.") == 1
    assert re.search(r"Numbers are of its last moment, \d+ \w+ \d{4}, \d\d:\d\d:\d\d\.", " ".join(text.split())), (
        "it ended on another day"
    )
    assert "ended pump" in text
    assert re.search(r"was \d+\.\d °F past, act, \d\d:\d\d:\d\d", text)
    assert "***" not in text
    assert "Pull over" not in text, "it is over: nobody is to do anything now"
    assert "no warning comes from here any more" in " ".join(text.split())
    assert "The driver does not operate this" in text
    assert max(len(line) for line in text.splitlines()) <= width


def words_of(text):
    return set(re.findall(r"[a-z]+", text.lower()))


@pytest.mark.parametrize("old", [False, True])
@pytest.mark.parametrize(("width", "height"), [(100, 30), (80, 24), (60, 20), (59, 16), (40, 12), (40, 30), (46, 14)])
def test_it_fits_with_the_worst_place_its_action_and_the_caution_complete(session, width, height, old):
    now = panel_of(session(synthetic.drive(400.0).data), age_s=7.0 if old else 0.3)
    for count in (1, 4, 9):
        many = now | {"places": [now["places"][0], *(now["places"][1:] * 3)[: count - 1]]}
        lines = printed(many, width, height).splitlines()
        text = " ".join(" ".join(lines).split())
        assert len(lines) <= height
        assert max(map(len, lines)) <= width
        assert "*** act pump" in text
        assert f"{'was ' if old else ''}{now['head']['margin']} °F past" in text
        assert now["head"]["brief" if width < 60 or height < 20 else "action"] in text
        assert "No warning does not mean safe" in text
        # no word is broken: every word shown is one of the panel's or of the frame's
        known = (
            words_of(json.dumps(many, ensure_ascii=False)) | words_of(terminal._SHORT_CAUTION) | words_of(str(terminal.MARK_KEYS))
        )
        known |= words_of("keys mark marks q quiet the sound now range not current last reading s ago at more")
        assert words_of(text) <= known
        shown = sum(place["name"] in text for place in many["places"][:1]) + len(
            re.findall(r"^(?:/!\\|-  ) ", "\n".join(lines), re.MULTILINE)
        )
        counted = sum(int(number) for number in re.findall(r"\+(\d+) ", text))
        assert shown + counted == count


def test_a_value_that_is_not_current_is_a_dash_with_its_last_value(session):
    now = panel_of(session(synthetic.drive(60.0).data), age_s=7.0)
    text = printed(now)
    assert "NOT CURRENT: last reading 7 s ago" in text
    assert "Check the plug at the board" in " ".join(text.split())
    assert not re.search(r"\d °F left(?!, )", text)  # every number that is left carries its time
    assert "link:" not in text
    fresh = printed(now | {"age_s": 0.3})
    assert "NOT CURRENT" not in fresh
    assert "link:" in fresh


@pytest.mark.parametrize(("width", "height"), [(100, 30), (40, 12)])
def test_only_a_current_reading_says_that_there_is_nothing_to_do(session, width, height):
    now = panel_of(session(synthetic.drive(60.0).data))
    assert now["head"]["key"] == "quiet"
    fresh, stale, ended = (
        " ".join(printed(now | change, width, height).split()) for change in ({}, {"age_s": 7.0}, {"live": False})
    )
    assert "othing to do now" in fresh
    assert "- no warning tank" in fresh or "- no warning pump" in fresh
    assert "othing to do" not in stale + ended
    assert not re.search(r"- no warning \w", stale + ended)  # "was 20 °F left, no warning, 14:03:26" says when
    assert "assume the fuel is hot" in stale
    assert "Check the plug at the board" in stale
    assert "no warning comes from here" in ended


def test_a_key_marks_and_another_quiets(session):
    path = session()
    with LogWriter(path / "wire.log") as writer, LiveState(path) as state:
        writer.received(synthetic.drive(400.0).data)
        while state.advance(60):
            pass
        recorder = requests.Requests(path)
        quieting = sounds.Quieting()
        quieting.update(panel(state.situation(), Shown("us")))
        assert quieting.sound() == "act"
        assert terminal.answer("3", state, quieting, "14:03:20") == "mark passed on: hard start"
        assert terminal.answer("x", state, quieting, "14:03:20") == ""
        assert "quieted" in terminal.answer("q", state, quieting, "14:03:20")
        assert [(request["kind"], request["text"]) for request in recorder.new()] == [("mark", "hard start"), ("acknowledge", "")]
        assert quieting.sound() == ""


def test_a_mark_is_shown_as_it_was_written_and_moves_no_cursor(session):
    made = synthetic.drive(30.0)
    made.mark(30.0, "[bold red]fire[/] \x1b[2J\x07 <b>")
    text = printed(panel_of(session(made.data), live=False))
    assert "[bold red]fire[/]" in text
    assert "<b>" in text
    assert "\x1b" not in text


def test_a_live_recording_is_followed_until_it_ends(session):
    path = session()
    data = synthetic.drive(60.0).data
    writer = LogWriter(path / "wire.log")
    writer.received(data[: len(data) // 2])
    turns = []

    def sleep(seconds):
        turns.append(seconds)
        if len(turns) == 2:
            writer.received(data[len(data) // 2 :])
        if len(turns) == 4:
            writer.close()
        assert len(turns) < 20

    out = Console(file=io.StringIO(), width=100, force_terminal=True, color_system=None)
    terminal.show(path, console=out, sleep=sleep)
    assert "This recording has ended" in out.file.getvalue()
    assert "This recording has ended" not in out.file.getvalue()[: len(out.file.getvalue()) // 3]


def test_ctrl_c_ends_it_quietly(session):
    def sleep(seconds):
        raise KeyboardInterrupt

    path = session(synthetic.drive(10.0).data)
    with LogWriter(path / "wire.log"):
        terminal.show(path, console=Console(file=io.StringIO()), sleep=sleep)


def test_nothing_to_show_is_reported_in_a_sentence(tmp_path):
    with pytest.raises(InputError, match="holds no wire.log"):
        terminal.show(tmp_path)
