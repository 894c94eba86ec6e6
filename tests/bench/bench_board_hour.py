"""An hour of board time at 1 and at 8 channels, streamed and stored, under real MicroPython: `python tests/bench/bench_board_hour.py [seconds]`.

Every reading the board numbered must have arrived, and what it stored must be there when it is fetched.
"""

import sys
import tempfile
import time
from pathlib import Path

from hotfuel import samples
from hotfuel.link.port import open_port
from hotfuel.record.download import Fetcher
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import steady


def hour(channels: int, seconds: float) -> str:
    """One run as a row of the table."""
    names = ",".join(f"place_{number}" for number in range(channels))
    settings = {"places": names, "rate_hz": 5}
    began = time.monotonic()
    source = steady([1.0 + 0.1 * number for number in range(channels)], [25.0] * channels, seconds=seconds)
    with (
        SimulatedBoard(source, chips=("MAX31856",) * channels, speed=1000, settings=settings) as board,
        open_port(board.device) as port,
    ):
        received = bytearray()
        while not board.finished or received[-1:] != b"\x00":
            received += port.read(0.2)
            if board.failure:
                raise SystemExit(board.failure)
        received += port.read(0.2)
    decoded = samples.decode(bytes(received))
    losses, health = decoded.losses, decoded.messages["health"]
    readings = losses.readings
    last = health[-1]
    return (
        f"{channels:8d} {readings:9d} {losses.ticks_missing:7d} {int(last['late_ticks']):5d} {losses.pieces_damaged:8d} "
        f"{int(last['frames_stored']):7d} {int(last['memory_free']):9d} {time.monotonic() - began:7.1f}"
    )


def stored(channels: int, board_s: float) -> str:
    """Frames that the board stored in a shorter run, fetched while it keeps running."""
    settings = {"places": ",".join(f"place_{number}" for number in range(channels))}
    source = steady([1.0] * channels, [25.0] * channels, seconds=36000)
    board = SimulatedBoard(source, chips=("MAX31856",) * channels, speed=100, settings=settings, hold_for_reader=False)
    with board, tempfile.TemporaryDirectory() as folder:
        while board.time_s < board_s:
            board.wait(0.2)
        with open_port(board.device) as port:
            fetcher = Fetcher(port, Path(folder))
            decoded = samples.decode(fetcher.write_log(fetcher.fetch_all()))
    expected = 2 * (board_s - 10)  # two a second, at most 10 s not flushed
    return f"{channels:8d} {decoded.losses.readings:9d} of at least {expected:.0f}, damaged {decoded.losses.pieces_damaged}"


if __name__ == "__main__":
    length_s = float(sys.argv[1]) if len(sys.argv) > 1 else 3600.0
    print("channels  readings missing  late  damaged  stored  free heap  seconds")
    for count in (1, 8):
        print(hour(count, length_s), flush=True)
    print("\nfetched from the store\nchannels  readings")
    for count in (1, 8):
        print(stored(count, length_s / 6), flush=True)
