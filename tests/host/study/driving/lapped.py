"""Sessions on disk of laps on the simulator's circuit: the board's readings, a receiver's sentences beside them, and the true drive."""

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
from hotfuel import session
from hotfuel.car import EXAMPLE
from hotfuel.session import folder
from hotfuel.session.positions import KNOT_M_S, fix_of
from hotfuel.simulator import circuit

_FOLDER = str(Path(__file__).parents[2] / "session")
if _FOLDER not in sys.path:
    sys.path.insert(0, _FOLDER)
import synthetic  # noqa: E402 - from the room of sessions

HOT_FROM, HOT_TO = 0.30, 0.45  # share of the lap: there the pump warms by RISE_DEGC, on the rest it cools again
RISE_DEGC = 4.0


def pump_degc(share):
    """Its temperature at a share (n,) of the lap."""
    return 45.0 + RISE_DEGC * np.interp(share, [0, HOT_FROM, HOT_TO, 1], [0.4, 0.0, 1.0, 0.4])


def _tracks(told):
    """(second, values) of the `track` messages of a board that receives these sentences: the first position of each second, ten per message."""
    rows, second = [], None
    for at, text in told:
        fix = fix_of(text)
        if b"RMC" in text and int(fix.time_s) != second:
            second = int(fix.time_s)
            units = (100 * fix.time_s, 60e5 * fix.latitude_deg, 60e5 * fix.longitude_deg, 100 * fix.speed_m_s / KNOT_M_S)
            rows.append((at + 0.1, *map(round, units)))
    for first in range(0, len(rows), 10):
        (began, time_cs, north, east, speed), *_ = ten = rows[first : first + 10]
        steps = [
            {"later_cs": after[1] - before[1], "north": after[2] - before[2], "east": after[3] - before[3], "speed": after[4]}
            for before, after in pairwise(ten)
        ]
        place = {"time_cs": time_cs, "latitude": north, "longitude": east, "speed": speed}
        yield ten[-1][0], place | {"age_ms": round(1000 * (ten[-1][0] - began)), "steps": steps}


def true_drive(count, rng, period_s=0.2):
    """(Circuit, Driven) of so many laps, without a recording."""
    track = circuit.Circuit()
    return track, circuit.drive(track, count, rng, period_s)


def laps(
    path,
    count=6,
    *,
    seed=1,
    period_s=0.2,
    noise_m=1.0,
    marks=(),
    without=(),
    hand_marks=False,
    every=1,
    receiver=True,
    receiver_off_s=0.0,
    at_board=False,
    spread_degc=0.2,
    off_degc=0.0,
    about=None,
):
    """(session, Driven, Circuit). marks: (second, text). without: (from, to) seconds without a sentence. hand_marks: the button
    at each crossing, or at every second one and so on. receiver_off_s: how far its time of day is behind the computer's. at_board: no sentences, but what the
    board's store keeps of a receiver connected to it. off_degc: subtracted at the carburettor's inlet. about: session data."""
    rng = np.random.default_rng(seed)
    track, driven = true_drive(count, rng, period_s)
    first = driven.crossed_s[0]
    length, way = track.length_m, np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(driven.x_m), np.diff(driven.y_m)))])
    share = (way - np.interp(first, driven.time_s, way)) / length % 1
    made = synthetic.Recording(period_ms=500)
    wall = synthetic.START_WALL_S
    told = list(circuit.sentences(track, driven, wall - receiver_off_s, noise_m, rng)) if receiver else []
    tracks = list(_tracks(told)) if at_board else []
    told = [] if at_board else told
    todo = list(marks) + (
        [(at + 0.1 * rng.standard_normal(), "lap") for at in driven.crossed_s[::every].tolist()] if hand_marks else []
    )
    todo = sorted(todo)
    lap = np.clip(np.searchsorted(driven.crossed_s, driven.time_s) - 1, 0, count - 1)
    shift = spread_degc * rng.standard_normal(count)
    for at in np.arange(0.0, driven.time_s[-1], 0.5).tolist():
        if round(at * 2) % 10 == 0:
            made.anchor(at)
        row = int(np.searchsorted(driven.time_s, at))
        made.reading(at, [35.0 + 0.05 * seed, float(pump_degc(share[row]) + shift[lap[row]]), 50.0 - off_degc + shift[lap[row]]])
        made.auxiliary(at, pulses=int(at * 4 * 3500 / 60) + 1, ignition=True)
        while told and told[0][0] <= at:
            second, text = told.pop(0)
            if not any(a <= second < b for a, b in without):
                late = second + 0.05 + 0.03 * rng.random()
                made.add("sentence", at, wall_us=round((wall + late) * 1e6), monotonic_us=round(late * 1e6), text=text)
        while tracks and tracks[0][0] <= at:
            second, values = tracks.pop(0)
            made.add("track", second, **values)
        while todo and todo[0][0] <= at:
            made.mark(*todo.pop(0))
    where = folder.create(path, EXAMPLE, about or {})
    where.log_path.write_bytes(made.data)
    return session.open(path), driven, track
