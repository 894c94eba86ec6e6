"""The tick allocates nothing: on the 64-bit and on the 32-bit MicroPython, whose small integers are the board's."""

from pathlib import Path

HERE = Path(__file__).parent
FIRMWARE = HERE.parent.parent / "firmware"


def test_unix_port(micropython, board_path):
    assert (
        micropython(HERE / "board_tick.py", path=board_path) == "130 ticks, 0 bytes; small integers of 63 bits; wrapped: True\n"
    )


def test_webassembly(webassembly, wire_sources):
    files = {name: FIRMWARE / name for name in ("clock.py", "sampler.py", "chips/max31856.py", "chips/max31856_map.py")}
    files["fake_board.py"] = HERE / "fake_board.py"
    assert webassembly(HERE / "board_tick.py", {**wire_sources, **files}) == (
        "130 ticks, 0 bytes; small integers of 31 bits; wrapped: True\n"
    )
