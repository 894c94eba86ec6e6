"""The standards' test pulses on the battery lead of a 12 V car, as corner points of voltage against time.

Levels are those of ISO 7637-2:2011 and ISO 16750-2:2012, as far as others have published them (LEVELS); where two differ, the harsher one. What nobody
was found to publish stands as from memory: verify the edition. The older ISO/TR 7637/1:1990 has lower levels throughout.
"""

import math
from dataclasses import dataclass

_LITTELFUSE = "Littelfuse, Automotive Circuit Protection Using Automotive TVS Diodes (application note), table 1a, 12 V, level 4"
_BURST = f"level: {_LITTELFUSE}; 50 ohm: ST, VNH2SP30-E data sheet, table 14"
_MEMORY = "level from memory, inside that of profile III"
# Beginning of a case's name -> where its level comes from. Shapes in time (rise, repetition) are from memory throughout, but for the load dump.
LEVELS = {
    "load dump A": "ISO 16750-2 as table 1 of J. Korean Inst. Electromagn. Eng. Sci. 30(8) 629 (2019): 79 to 101 V, 0.5 to 4 ohm, 40 to 400 ms, 10 pulses",
    "load dump B": "ITECH, IT6000C manual, ISO 16750-2 load dump: 35 V after the central suppressor, from 14 V",
    "pulse 1": "D. Eddleman, LTspice models of ISO 7637-2 and ISO 16750-2 transients, 2017: -150 V, 10 ohm, 2 ms (level 4 of the Littelfuse note: -100 V)",
    "pulse 2a": f"{_LITTELFUSE}; 2 ohm: Eddleman",
    "pulse 2b": f"level: {_LITTELFUSE}; source resistance from memory",
    "pulse 3a": _BURST,
    "pulse 3b": _BURST,
    "jump start": "Littelfuse, Varistor Design Guide for DC and Automotive Applications, 2015: 24 V; held 60 s: Eddleman. Held here until nothing changes",
    "overvoltage": "level from memory; it lies below the jump start's 24 V, which is held as long here",
    "reversed": "24 V, a jump start with its leads swapped: harsher than the standard's 4 V (Eddleman) and 14 V (from memory)",
    "starting profile I, ": _MEMORY,
    "starting profile II, ": _MEMORY,
    "starting profile III, ": "Monolithic Power Systems, From Cold Crank to Load Dump, 2021: below 3 V for 15 to 50 ms, then about 6 V; 5 V here",
    "starting profile IV, ": _MEMORY,
}
# cases for whose level no publication was found
MEMORY = (
    "overvoltage",
    "starting profile I, ",
    "starting profile II, ",
    "starting profile IV, ",
)
RUNNING_V = 13.5  # the alternator charges; 14 V before a load dump
LOAD_DUMP_CORNERS = [(us, ri, td) for us in (79.0, 101.0) for ri in (0.5, 4.0) for td in (0.04, 0.4)]
LOAD_DUMP_PULSES, LOAD_DUMP_EVERY_S = 10, 60.0
DIP_S = 0.05  # published: 15 to 50 ms
# ISO 16750-2 starting profile, 12 V: level, dip V, V while the starter turns, s of turning, ms of rise at its end
STARTING = (
    ("I", 8.0, 9.5, 1.0, 40.0),
    ("II", 4.5, 6.5, 10.0, 100.0),
    ("III", 3.0, 5.0, 1.0, 100.0),
    ("IV", 6.0, 6.5, 10.0, 100.0),
)


@dataclass(frozen=True)
class Pulse:
    """points: (s, V) of the source behind `ohm`, straight lines between; the simulation ends at end_s."""

    name: str
    points: list
    ohm: float
    end_s: float
    step_s: float


def _fall(t0, base, peak, td, end, parts=40):
    """Exponential from `peak` to `base`, td from full to a tenth."""
    tau = td / math.log(10)
    times = [end * (i / parts) ** 2 for i in range(1, parts + 1)]
    return [(t0 + t, base + (peak - base) * math.exp(-t / tau)) for t in times]


def load_dump(us, ri, td, clamp_v=None):
    """Test A, or B with the central suppressor's clamp_v."""
    points = [(0.0, 14.0), (0.02, 14.0), (0.03, us), *_fall(0.03, 14.0, us, td, 2.0 * td)]
    if clamp_v is not None:
        points = [(t, min(v, clamp_v)) for t, v in points]
    name = f"load dump {'A' if clamp_v is None else 'B'}, {us:g} V, {ri:g} Ω, {1000 * td:g} ms"
    return Pulse(name, points, ri, 0.03 + 2.0 * td, td / 400)


def steady(name, volts, ohm=0.01):
    """A constant voltage, ramped up so that capacitors start empty."""
    return Pulse(name, [(0.0, 0.0), (0.1, volts)], ohm, 0.6, 5e-4)


def starting(level, dip, turning, turning_s, rise_ms):
    """Fall in 5 ms, the dip, 50 ms up to the turning voltage (2 Hz ripple of 2 V left out: it only lifts), turning, and back."""
    shown_s = min(turning_s, 1.0)  # nothing changes after the first tenths
    up = 0.505 + DIP_S
    points = [(0.0, 12.0), (0.5, 12.0), (0.505, dip), (up, dip), (up + 0.05, turning), (up + 0.05 + shown_s, turning)]
    points.append((points[-1][0] + rise_ms / 1000, 12.0))
    return Pulse(f"starting profile {level}, {dip:g} V", points, 0.01, points[-1][0] + 0.2, 5e-4)


def _burst(name, peak, base, count=20):
    points = [(0.0, base), (1e-4, base)]
    for i in range(count):
        t = 1e-4 + i * 1e-4
        points += [(t, base), (t + 5e-9, peak), *_fall(t + 5e-9, base, peak, 150e-9, 600e-9, 8), (t + 1e-6, base)]
    return Pulse(name, [p for n, p in enumerate(points) if n == 0 or p[0] > points[n - 1][0]], 50.0, 1e-4 + count * 1e-4, 2e-6)


def pulses():
    """Every electrical test of the supply lead but the load dump's corners."""
    one = [
        (0.0, RUNNING_V),
        (0.01, RUNNING_V),
        (0.0101, 0.0),
        (0.0102, 0.0),
        (0.010201, -150.0),
        *_fall(0.010201, 0.0, -150.0, 2e-3, 8e-3),
    ]
    two_a = [
        (0.0, RUNNING_V),
        (0.01, RUNNING_V),
        (0.010001, RUNNING_V + 112),
        *_fall(0.010001, RUNNING_V, RUNNING_V + 112, 50e-6, 3e-4),
    ]
    two_b = [(0.0, 12.0), (0.5, 12.0), (0.501, 0.0), (0.502, 0.0), (0.503, 10.0), (2.503, 0.0)]
    return [
        Pulse("pulse 1, −150 V", one, 10.0, 0.03, 1e-5),
        Pulse("pulse 2a, +112 V", two_a, 2.0, 0.011, 4e-6),
        Pulse("pulse 2b, +10 V", two_b, 0.05, 2.6, 1e-3),
        _burst("pulse 3a, −220 V", RUNNING_V - 220, RUNNING_V),
        _burst("pulse 3b, +150 V", RUNNING_V + 150, RUNNING_V),
        load_dump(101.0, 0.5, 0.4, clamp_v=35.0),
        steady("jump start, 24 V", 24.0),
        steady("overvoltage, 18 V", 18.0),
        steady("reversed, −24 V", -24.0),
        *(starting(*row) for row in STARTING),
    ]
