"""The terminal: the page's words, no markup of unknown origin, staleness, an end."""

import io

import pytest
import synthetic
from hotfuel.errors import InputError
from hotfuel.live import terminal
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.log.append import LogWriter
from hotfuel.units import Shown
from rich.console import Console


def printed(now, width=100):
    out = Console(file=io.StringIO(), width=width, force_terminal=False)
    out.print(terminal.picture(now))
    return out.file.getvalue()


def panel_of(path):
    with LiveState(path) as state:
        while state.advance(60):
            pass
        return panel(state.situation(), Shown("us"))


@pytest.mark.parametrize("width", [80, 140])
def test_a_finished_recording_is_shown_once(session, width):
    out = Console(file=io.StringIO(), width=width)
    terminal.show(session(synthetic.drive(400.0).data), units="us", console=out)
    text = out.file.getvalue()
    assert text.count("This recording has ended.") == 1
    assert "*** act" in text
    assert "past the limit" in text
    assert "Pull over where it is safe" in text
    assert "The driver does not operate this" in text
    assert max(len(line) for line in text.splitlines()) <= width
    pump_degf = synthetic.climb(399.8)[1] * 1.8 + 32
    assert f"{pump_degf:.1f} °F" in text


def test_numbers_that_are_not_of_this_moment_are_struck(session):
    now = panel_of(session(synthetic.drive(60.0).data)) | {"live": True, "age_s": 7.0}
    out = Console(file=io.StringIO(), width=100, force_terminal=True, color_system="standard")
    out.print(terminal.picture(now))
    assert "NOT CURRENT: last reading 7 s ago" in out.file.getvalue()
    assert "\x1b[2;9m" in out.file.getvalue()  # dim and struck through
    fresh = Console(file=io.StringIO(), width=100, force_terminal=True, color_system="standard")
    fresh.print(terminal.picture(now | {"age_s": 0.3}))
    assert "NOT CURRENT" not in fresh.file.getvalue()
    assert "\x1b[2;9m" not in fresh.file.getvalue()


def test_a_mark_is_shown_as_it_was_written_and_moves_no_cursor(session):
    made = synthetic.drive(30.0)
    made.mark(30.0, "[bold red]fire[/] \x1b[2J\x07 <b>")
    text = printed(panel_of(session(made.data)))
    assert "[bold red]fire[/] [2J <b>" in text
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


def test_nothing_to_show_is_a_sentence(tmp_path):
    with pytest.raises(InputError, match="holds no wire.log"):
        terminal.show(tmp_path)
