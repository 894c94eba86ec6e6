"""Trials of further inputs: a converter on I2C, flow meters' pulses, a satellite receiver at UART0, all of them beside eight channels at 10 Hz."""

import numpy as np
from hotfuel import samples
from hotfuel.session.positions import fix_of
from hotfuel.simulator import circuit
from hotfuel_wire.messages import FITTED

from emulated import ready, talk
from emulated.board import EmulatedBoard, in_a_copy
from emulated.chips import Fitted
from emulated.rig import Rig, Row, health, started

EVERYTHING = ("analogue_1", "analogue_2", "analogue_3", "analogue_4", "flow_1", "flow_2", "receiver")
INPUTS = tuple(name for name in FITTED if name != "engine_pulses_irq")
VOLTS = (0.5, 1.25, 2.0, 3.1)
PULSES_HZ = (120.0, 35.0)
BAUD = 38_400
FIXES_HZ = 10
TRIAL_S = 14.0
BUSY_MOST = 0.40


def _pulses(board: EmulatedBoard, name: str, hertz: float) -> list[int]:
    """Connect a flow meter to that pin from now on; the only number of the list returned counts its pulses."""
    count, level = [0], [True]

    def turn() -> None:
        level[0] = not level[0]
        board.hold(name, level[0])
        count[0] += level[0]
        board.at(0.5 / hertz, turn)

    board.hold(name, True)
    board.at(0.5 / hertz, turn)
    return count


def _receiver(board: EmulatedBoard, seconds: float) -> list[bytes]:
    """A receiver that sends RMC and GGA ten times a second, byte by byte at its rate; returns its sentences."""
    rng, track = np.random.default_rng(1), circuit.Circuit()
    driven = circuit.drive(track, 1, rng, 1 / FIXES_HZ)
    sent = [(at, text) for at, text in circuit.sentences(track, driven, 1_780_000_000.0, 0.5, rng) if at < seconds]
    stream = [(at, (text + b"\r\n")) for at, text in sent]
    free = 0.0
    for at, text in stream:
        for byte in text:
            free = max(free, at) + 10 / BAUD
            board.at(free, lambda byte=byte: board.mcu.uart[0].feed_byte(byte))  # type: ignore[misc]
    return [text for _, text in sent]


def further_inputs(rig: Rig) -> list[Row]:
    """All inputs at once beside eight channels at 10 Hz: the readings of each, the processor time, and a converter that is removed."""
    fitted = Fitted(("MAX31856",) * 8, "BMP390", EVERYTHING)
    fitted.surroundings.analogue_v[:] = VOLTS
    settings = {**ready.EIGHT_AT_TEN, "inputs": INPUTS, "more_inputs": EVERYTHING, "receiver_baud": BAUD}
    board = started(ready.board(rig.image, fitted, settings))

    def together() -> list[Row]:
        pulses = [_pulses(board, f"flow_{number + 1}", hertz) for number, hertz in enumerate(PULSES_HZ)]
        board.run(1.5)
        begun = [count[0] for count in pulses]
        sent = _receiver(board, TRIAL_S - 1)
        board.usb.take()
        busy = board.busy(TRIAL_S)
        ended = [count[0] for count in pulses]
        data = board.usb.take()
        decoded = samples.decode(data)
        told = health(data)
        readings = [values for name, values in talk.messages(data) if name == "reading"]
        missing = readings[-1]["tick"] - readings[0]["tick"] + 1 - len(readings)
        rows = [
            {one["input"]: one["value"] for one in values["inputs"]}
            for name, values in talk.messages(data)
            if name == "more_inputs"
        ]
        codes = [rows[-1].get(number + 1, 0) for number in range(4)]
        off = max(abs(code - volts / 125e-6) for code, volts in zip(codes, VOLTS, strict=True))
        counted = [rows[-1][17 + number] - rows[0][17 + number] for number in range(2)]
        wanted = [end - begin for end, begin in zip(ended, begun, strict=True)]
        flow_off = max(abs(got - hertz * (len(rows) - 1)) for got, hertz in zip(counted, PULSES_HZ, strict=True))
        said = [bytes(text) for text in decoded.messages["receiver_sentence"]["text"]]
        fixes = [fix for text in sent if (fix := fix_of(text)) is not None]
        tracks = [values for name, values in talk.messages(data) if name == "track"]
        first = tracks[0] if tracks else {"time_cs": 0, "latitude": 0, "longitude": 0, "steps": []}
        there = next((fix for fix in fixes if abs(fix.time_s - first["time_cs"] / 100) < 1e-6), fixes[-1])
        apart = max(abs(first["latitude"] / 60e5 - there.latitude_deg), abs(first["longitude"] / 60e5 - there.longitude_deg))
        return [
            Row(
                "8 x 10 Hz with every input",
                f"{told['late_ticks']} late ticks, {missing} missing, {busy:.1%} busy, longest tick {told['longest_tick_us'] / 1000:.1f} ms, "
                f"{told['memory_free']} B free",
                told["late_ticks"] == 0 and missing == 0 and busy < BUSY_MOST,
            ),
            Row(
                "ADS1115, four voltages",
                f"{len(rows)} messages, off by {off:.1f} codes at most",
                off <= 1.0 and len(rows) >= TRIAL_S - 2,
            ),
            Row(
                "two flow meters",
                f"{counted} pulses in {len(rows) - 1} s, {wanted} given in {TRIAL_S:.0f} s",
                flow_off <= 0.02 * max(PULSES_HZ) * len(rows),
            ),
            Row(
                "receiver, ten fixes a second",
                f"{len(said)} of {len(sent)} sentences live, all as they came: {set(said) <= set(sent)}; {len(tracks)} track of "
                f"{1 + len(first['steps'])} positions, off by {apart:.1e} degrees",
                set(said) <= set(sent) and 5 * (TRIAL_S - 3) <= len(said) <= 5 * TRIAL_S and bool(tracks) and apart < 3e-7,
            ),
        ]

    def without() -> list[Row]:
        board.converter.set_fault("gone", True)
        board.run(12.0)
        data = board.usb.take()
        readings = [values for name, values in talk.messages(data) if name == "reading"]
        missing = readings[-1]["tick"] - readings[0]["tick"] + 1 - len(readings)
        rows = [{one["input"] for one in values["inputs"]} for name, values in talk.messages(data) if name == "more_inputs"]
        told = health(data)
        return [
            Row(
                "the converter removed",
                f"failed={told['failed']}, {missing} readings missing, {told['late_ticks']} late, its voltages in "
                f"{sum(1 in row for row in rows[-5:])} of the last 5 messages",
                bool(told["failed"] & 16)
                and missing == 0
                and told["late_ticks"] == 0
                and all(not row & {1, 2, 3, 4} and 17 in row for row in rows[-5:]),
            )
        ]

    return [*in_a_copy(together), *in_a_copy(without)]
