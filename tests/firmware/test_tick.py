"""The tick allocates nothing: on the 64-bit and on the 32-bit MicroPython, whose small integers are the board's."""

from pathlib import Path

HERE = Path(__file__).parent
FIRMWARE = HERE.parent.parent / "firmware"


DONE = "135 ticks, 0 bytes; small integers of %d bits; wrapped: True\n"


def test_unix_port(micropython, board_path):
    assert micropython(HERE / "board_tick.py", path=board_path) == DONE % 63


def test_webassembly(webassembly, wire_sources):
    files = {name: FIRMWARE / name for name in ("clock.py", "sampler.py")}
    files |= {f"chips/{path.name}": path for path in (FIRMWARE / "chips").glob("[am]*.py")}
    files["fake_board.py"] = HERE / "fake_board.py"
    assert webassembly(HERE / "board_tick.py", {**wire_sources, **files}) == DONE % 31
