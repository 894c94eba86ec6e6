"""A satellite receiver connected beside the board: its sentences are in the log, in the board's time, whatever its port does."""

import numpy as np
import pytest
import wire_logs
from hotfuel import samples
from hotfuel.log.append import LogWriter
from hotfuel.record.recorder import Recorder
from hotfuel.session import positions
from hotfuel.session.timeline import Timeline
from hotfuel.simulator import circuit
from hotfuel_wire import codec, framing

NUMBER = codec.description_id(wire_logs.description(1))


class Board:
    """A link and its clock: each turn gives the next bytes, and 0.1 s passes."""

    url, problem, connected = "played", "", True

    def __init__(self, turns):
        self.turns, self.now = list(turns), 50.0

    def read(self, timeout_s):
        self.now += 0.1
        return self.turns.pop(0)

    def write(self, data):
        return True

    def monotonic(self):
        return self.now

    def wall(self):
        return self.now + 1_780_000_000.0


def reading(time_ms):
    return framing.encode(wire_logs.reading(time_ms, NUMBER, [(1, 2, 3)]))


class Beside:
    """A receiver that answers each turn with the next of `turns`; None: its port is gone."""

    url = "beside"

    def __init__(self, turns):
        self.turns, self.connected = list(turns), True

    def sentences(self):
        found = self.turns.pop(0) if self.turns else []
        self.connected = found is not None
        return found or []


def test_sentences_are_in_the_log_beside_the_readings_and_in_their_time(tmp_path):
    told = [[circuit.rmc(1_780_000_000.0 + k / 10, 40.0 + 1e-5 * k, -40.0, 1.0, 0.0)] if k % 10 == 0 else [] for k in range(200)]
    told[77] = None
    told[120] = [b"$GPXXX,damaged"]
    turns = [framing.encode(wire_logs.description(1)), *(reading(100 * n) for n in range(1, 200))]
    link, said = Board(turns), []
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic) as writer:
        made = Recorder(link, writer, say=said.append, monotonic=link.monotonic, wall=link.wall, receiver=Beside(told))
        while link.turns:
            made.turn(0.1)
    assert said == ["The receiver at beside went away; trying again.", "The receiver at beside is back."]
    assert made.counts.sentences == 20
    decoded = samples.decode(tmp_path / "wire.log")
    assert [bytes(text) for text in decoded.messages["sentence"]["text"]].count(b"$GPXXX,damaged") == 1
    assert len(decoded.readings) == 199
    timeline = Timeline.of(decoded.clock, decoded.scans["boot"], decoded.scans["time"])
    found = positions.of_recording(decoded, timeline)
    assert len(found.seconds) == 19
    # turn k is k tenths of a second after the first, a fix every ten turns
    assert found.seconds == pytest.approx(found.seconds[0] + np.array([k for k in range(20) if k != 12]), abs=0.2)


def test_a_log_without_a_receiver_has_no_positions():
    decoded = samples.decode(framing.encode(wire_logs.description(1)) + reading(100))
    timeline = Timeline.of(decoded.clock, decoded.scans["boot"], decoded.scans["time"])
    assert positions.of_recording(decoded, timeline) is None
