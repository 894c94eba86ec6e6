"""A MAX31855 that stops converting, on the simulated board: found live and in the review alike, while the box about it warms."""

import numpy as np
import pytest
from hotfuel import samples
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.session import frame
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.feed import Samples
from hotfuel.temperature.counts import NO_NEW_CONVERSION
from hotfuel.units import Shown
from test_state_board import read

STOPS_S, SECONDS = 60.0, 300.0


def warming():
    """Steady probes without noise in a box that warms by a degree a minute."""
    for first in np.arange(0, SECONDS, 1.0):
        time_s = first + np.arange(5) * 0.2
        cold = np.repeat(25.0 + time_s[:, None] / 60, 3, axis=1)
        yield Samples(time_s, np.full((5, 3), 1.0), cold)


@pytest.mark.parametrize("chip", ["MAX31855", "MAX31856", "MCP9601"])
def test_an_amplifier_that_stops_is_found_whatever_its_kind(session, chip):
    import serial

    data = bytearray()
    with (
        SimulatedBoard(warming(), chips=(chip,) * 3, speed=40, settings={"places": ("tank", "pump", "carb_inlet")}) as board,
        serial.serial_for_url(board.device, timeout=0.05) as port,
    ):
        stopped = False
        while not board.finished or port.in_waiting:
            data += port.read(max(1, port.in_waiting))
            if not stopped and board.time_s >= STOPS_S:
                stopped = True
                board.fault(1, "frozen")
    ticks = frame.ticks(samples.decode(bytes(data)), None)
    number = ticks.places.index("pump")
    old = np.flatnonzero((ticks.reason[:, number] == NO_NEW_CONVERSION) & (ticks.seconds > STOPS_S))
    found_s = ticks.seconds[old[old > 0]][0]
    lasting = ticks.reason[ticks.seconds > STOPS_S + (100 if chip == "MAX31855" else 20), number]
    assert (lasting == NO_NEW_CONVERSION).all(), f"from {found_s:.0f} s on for good"
    for other in {"tank", "carb_inlet"} & set(ticks.places):
        reasons = ticks.reason[ticks.seconds > 5, ticks.places.index(other)]
        assert set(reasons.tolist()) <= ({0, NO_NEW_CONVERSION} if chip == "MCP9601" else {0})
    with LiveState(session(bytes(data))) as state:
        now = read(state).situation()
    pump = next(row for row in panel(now, Shown("si"))["places"] if row["place"] == "pump")
    assert (pump["key"], pump["word"], pump["margin"]) == ("lost", "sensor lost", "–")
    assert pump["lost"] == "the amplifier answers but measures nothing new"
