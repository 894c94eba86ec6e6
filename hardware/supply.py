"""The calculations behind SUPPLY.md: current drawn, days parked, load dump by hand, dividers. Nothing here was measured: python hardware/supply.py"""

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import netlist

BATTERY_V = 12.6
BATTERY_AH, USABLE_SHARE = 45.0, 0.2  # a small starter battery; the rest is left for the starter (common practice, no source)
CONVERTER_AWAKE, CONVERTER_ASLEEP = 0.85, 0.60  # efficiency of U2 at 50 mA and at 2 mA (assumption)
PICO_CONVERTER = 0.85
CONVERTER_IDLE_MA = 0.10  # own draw of U2 at its input, at most, by the parts list
# D1 forward; TV1 and TV2 in the middle of their tolerance at 25 degC, at a few ampere
R1_OHM, DIODE_V, CLAMP_V = (
    netlist.ohm("R1"),
    0.8,
    28.2,
)
CONVERTER_LEAST_V = 4.5
C2_F = netlist.PARTS["C2"].size

# What draws: name, supply V, mA awake, mA asleep, where the figure is from
LOADS = (
    (
        "U1 Pico running MicroPython",
        5.0,
        26.0,
        1.5,
        "user measurements of a bare Pico; light sleep as in MicroPython's own change note",
    ),
    ("U1 waking every 2 s, 10 ms each", 5.0, 0.0, 26.0 * 0.010 / 2.0, "calculated"),
    ("U8 U9 U10 amplifiers", 3.3, 3 * 1.4, 0.0, "datasheet 19-7534, typical curve"),
    ("U6 clock chip", 3.3, 0.3, 0.0, "datasheet (from memory)"),
    ("U7 barometer", 3.3, 0.7, 0.0, "datasheet (from memory)"),
    ("R19 R20 and U5", 3.3, 0.6, 0.0, "calculated"),
    ("R27 button pull-up", 3.3, 0.0, 0.0, "draws only while pressed"),
    (
        "PS1 pressure sender through U11",
        12.6,
        10.0,
        0.0,
        "usual data-sheet maximum (common practice); taken from the battery's side",
    ),
    ("U11 tracker", 12.6, 0.06, 0.004, "TPS7B4250 data sheet, light load and standby (the latter from memory)"),
    ("LP1 lamp, alive pattern", 5.0, 12.0 * 0.02, 0.0, "calculated: 60 ms in 3 s"),
)


def draw_ma(state):
    """Current from a 12.6 V battery; state "awake" or "asleep"."""
    column = 2 if state == "awake" else 3
    watts = sum(row[1] * row[column] / (PICO_CONVERTER if row[1] < 5 else 1.0) for row in LOADS if row[1] <= 5) / 1000
    direct_ma = sum(row[column] for row in LOADS if row[1] > 5)
    efficiency = CONVERTER_AWAKE if state == "awake" else CONVERTER_ASLEEP
    divider_ma = BATTERY_V / 110.0
    return 1000 * watts / efficiency / BATTERY_V + CONVERTER_IDLE_MA + divider_ma + direct_ma


def standing_days(after_key_off_h=1.0):
    """Days until the usable share of the battery is gone, with the box as the only load."""
    left_mah = 1000 * BATTERY_AH * USABLE_SHARE - draw_ma("awake") * after_key_off_h
    return left_mah / draw_ma("asleep") / 24


def load_dump(peak_v, source_ohm, length_s, before_v=14.0, step_s=1e-5):
    """(peak A, J in R1, J in TV1, A2s in F1) of a load dump that falls exponentially, `length_s` from 10 % to 10 %."""
    tau = length_s / math.log(10)
    amps = joule_r1 = joule_tvs = square = 0.0
    for number in range(int(length_s / step_s)):
        volts = before_v + (peak_v - before_v) * math.exp(-number * step_s / tau)
        now = max(0.0, (volts - DIODE_V - CLAMP_V) / (source_ohm + R1_OHM))
        amps = max(amps, now)
        square += now**2 * step_s
        joule_r1 += now**2 * R1_OHM * step_s
        joule_tvs += now * CLAMP_V * step_s
    return amps, joule_r1, joule_tvs, square


def converter_input_v(battery_v):
    """Voltage at U2 behind D1 and R1 while the box is awake; 0 if that current cannot flow."""
    watts = draw_ma("awake") / 1000 * BATTERY_V
    open_v = battery_v - DIODE_V
    root = open_v**2 - 4 * R1_OHM * watts
    return 0.0 if open_v <= 0 or root < 0 else (open_v + math.sqrt(root)) / 2


def hold_up_ms(from_battery_v=12.0):
    """How long C2 alone supplies the box, down to U2's minimum input."""
    full_v = converter_input_v(from_battery_v)
    watts = draw_ma("awake") / 1000 * BATTERY_V
    return 1000 * 0.5 * C2_F * (full_v**2 - CONVERTER_LEAST_V**2) / watts


def ignition_pin_v(switched_v, pull_down_ohm=50e3):
    """GPIO 3 behind R6 and R7, with the processor's own pull-down; the clamp left out."""
    lower = 1 / (1 / netlist.ohm("R7") + 1 / pull_down_ohm)
    return switched_v * lower / (netlist.ohm("R6") + lower)


if __name__ == "__main__":
    print(f"awake {draw_ma('awake'):.1f} mA, asleep {draw_ma('asleep'):.1f} mA, {standing_days():.0f} days")
    for case in ((101.0, 4.0, 0.4), (79.0, 0.5, 0.4)):
        print(case, "{:.1f} A, {:.0f} J in R1, {:.0f} J in TV1, {:.1f} A2s".format(*load_dump(*case)))
    print(f"hold-up {hold_up_ms():.0f} ms")
    print("ignition", [(v, round(ignition_pin_v(v, r), 2)) for v in (2.0, 6.0, 9.0) for r in (50e3, 80e3)])
