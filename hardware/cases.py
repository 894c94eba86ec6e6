"""Every case of the simulation: the pulse on the battery lead, the short, the corner; and its run, reduced to a row of figures."""

import dataclasses
import functools
from dataclasses import dataclass

import models
import netlist
import numpy as np
import pulses
import spice
import stress
import thermal

FAULTS = {
    "lamp shorted": [("LAMP+", "LAMP-", 0.01)],
    "lamp's feed to ground": [("LAMP+", "GND", 0.01)],
    "lamp's feed to battery": [("LAMP+", "12V", 0.01)],
    "lamp's return to ground": [("LAMP-", "GND", 0.01)],
    "lamp's return to battery": [("LAMP-", "12V", 0.01)],
    "button's wire to battery": [("BUTTON", "12V", 0.01)],
    "sender's signal to battery": [("PRESSURE", "12V", 0.01)],
    "sender's signal to ground": [("PRESSURE", "GND", 0.01)],
    "sender's feed to battery": [("5VS", "12V", 0.01)],
    "sender's feed to ground": [("5VS", "GND", 0.01)],
    "probe's wire to battery": [("J1P", "12V", 0.01)],
    "probe's wire to ground": [("J1P", "GND", 0.01)],
    "battery-sense lead to ground": [("SENSE", "GND", 0.01)],
}
GIVEN_UP = {"lamp's feed to battery": "LP1"}  # this may destroy the lamp, but nothing else
AMBIENTS_DEGC = (-20.0, 25.0, 85.0)
PIN_OF_PROBE_MOST_V = 45.0  # MAX31856 data sheet 19-7534, general description: inputs protected up to 45 V either way


@dataclass(frozen=True)
class Row:
    """One case over all its corners, the worst of each figure."""

    name: str
    group: str
    vin_v: float  # highest behind R1
    low_3v3_v: float  # lowest 3.3 V rail
    amp: float  # largest battery current
    a2s: float  # through the fuse
    r1_joule: float
    r1_degc: float  # element, after ten pulses for a load dump
    tv_joule: float  # in one half
    tv_degc: float  # junction, after ten pulses for a load dump
    troubles: tuple


def _corner(pulse, faults, ambient, breakdown, tolerance, awake, lasting, start_s, times=1):
    wave = spice.run(spice.deck(pulse, faults, awake=awake, breakdown_v=breakdown, ambient_degc=ambient, tolerance=tolerance))
    found = stress.stress(wave, start_s)
    rows = stress.troubles(found, ambient, lasting) + stress.pin_troubles(wave, start_s)
    r1, tv = thermal.pulse_train(wave["time"], _power(wave, "R1"), _power(wave, "TV1"), ambient, times)
    if tv > netlist.PARTS["TV1"].top_degc:
        rows.append(f"TV1: {tv:.0f} °C of {netlist.PARTS['TV1'].top_degc:g} °C allowed")
    if r1 > netlist.PARTS["R1"].top_degc - stress.BELOW_TOP_K:
        rows.append(f"R1: {r1:.0f} °C")
    probe = max(float(np.abs(wave[f"v({n})"]).max()) for n in ("t0p", "t0n"))
    if probe > PIN_OF_PROBE_MOST_V:
        rows.append(f"U8's inputs: {probe:.0f} V")
    later = wave["time"] >= start_s
    return Row(
        "", "", float(wave["v(vin)"].max()), float(wave["v(3v3)"][later].min()), float(np.abs(wave["i(@rf1[i])"]).max()),
        found["F1"]["a2s"], found["R1"]["joule"], r1, found["TV1"]["joule"], tv, tuple(f"{ambient:g} °C: {row}" for row in rows),
    )  # fmt: skip


def _power(wave, mark):
    part = netlist.PARTS[mark]
    if mark == "R1":
        return (wave["v(vt)"] - wave["v(vin)"]) ** 2 / part.size
    return np.abs((0.0 - wave["v(vmid)"]) * wave["i(@dtv1[id])"])


def _worst(name, group, corners):
    pick = lambda key, of: of(getattr(row, key) for row in corners)  # noqa: E731
    return Row(
        name, group, pick("vin_v", max), pick("low_3v3_v", min), pick("amp", max), pick("a2s", max), pick("r1_joule", max),
        pick("r1_degc", max), pick("tv_joule", max), pick("tv_degc", max), tuple(dict.fromkeys(t for row in corners for t in row.troubles)),
    )  # fmt: skip


LASTING = ("jump", "overvoltage", "reversed")
CORNERS = [
    (-20.0, models.BREAKDOWN_V[0], 0.05),
    (25.0, models.BREAKDOWN_V[1], 0.0),
    (85.0, models.BREAKDOWN_V[0], -0.05),
    (85.0, models.BREAKDOWN_V[2], -0.05),
]


def load_dump_rows():
    """All eight corners of test A, each over temperature, breakdown and resistors, ten pulses a minute apart."""
    return [
        _over(pulses.load_dump(*corner), (), CORNERS, False, 0.0, pulses.LOAD_DUMP_PULSES) for corner in pulses.LOAD_DUMP_CORNERS
    ]


# before that the circuit is only settling
START_S = {
    "pulse 1": 0.009,
    "pulse 2a": 0.009,
    "pulse 3a": 5e-5,
    "pulse 3b": 5e-5,
    "load dump": 0.0,
}


def pulse_rows():
    """The other pulses of the supply lead."""
    rows = []
    for pulse in pulses.pulses():
        start = next((at for name, at in START_S.items() if pulse.name.startswith(name)), 0.3)
        rows.append(_over(pulse, (), CORNERS, pulse.name.startswith(LASTING), start))
    return rows


def _over(pulse, faults, corners, lasting, start_s, times=1, awake=(True,), name=None):
    done = [_corner(pulse, faults, *corner, up, lasting, start_s, times) for corner in corners for up in awake]
    row = _worst(name or pulse.name, "fault" if faults else "pulse", done)
    lost = GIVEN_UP.get(row.name)
    return dataclasses.replace(row, troubles=tuple(t for t in row.troubles if lost is None or f" {lost}:" not in t))


def fault_rows(names=None):
    """Every shorted wire at 16 V, hot and cold, awake and asleep; a stress that lasts."""
    pulse = pulses.steady("16 V", 16.0)
    corners = [(85.0, models.BREAKDOWN_V[0], -0.05), (-20.0, models.BREAKDOWN_V[0], -0.05)]
    return [_over(pulse, tuple(FAULTS[name]), corners, True, 0.4, awake=(True, False), name=name) for name in names or FAULTS]


@functools.cache
def waves(name):
    """Waveforms for the drawing: "load dump", "starting", "pulse 1"."""
    pulse = {
        "load dump": pulses.load_dump(101.0, 4.0, 0.4),
        "starting": pulses.starting(*pulses.STARTING[1]),
        "pulse 1": pulses.pulses()[0],
    }[name]
    return spice.run(spice.deck(pulse))
