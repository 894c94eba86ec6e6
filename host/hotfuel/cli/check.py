"""`hotfuel check`: is each probe right, before a drive relies on it."""

import datetime
import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import Json, Listener, Port, note, show, the_port
from hotfuel.errors import InputError, LinkError
from hotfuel.places import place_words
from hotfuel.units import expanded

if TYPE_CHECKING:
    from hotfuel.link.talk import Talk
    from hotfuel.record.probe_check import ProbeState
    from hotfuel.temperature.calibration import Calibration, Point

MORE_S = 5.0  # than a point needs
LOOK_S = 8.0
WAIT_MOST_S = 300.0
_BATH_CAUTION = "Away from fuel and the car: probe wiped dry of fuel, no flame near fuel; boiling water scalds."
_SUCTION = (
    "Suction, measured once, is better than any calculation. With the engine cold and off: depressurise, battery off, extinguisher at hand; "
    "tee a vacuum gauge in at the pump's inlet; look for leaks before starting and again hot. Read it warm at idle and at full throttle (read by a "
    "passenger, or on a dynamometer) and write both into the car file: suction_idle and suction_full. Take the gauge out and look for leaks again."
)


class Bench:
    """Collects readings from the board for a while at a time."""

    def __init__(self, talk: "Talk", heard: Listener) -> None:
        from hotfuel.record.probe_check import Probes

        self.probes = Probes()
        self._talk = talk
        self.heard = heard

    def listen(self, seconds: float) -> None:
        """Collect for this long of the board's time."""
        begun, end = self.probes.latest_s, time.monotonic() + seconds + 2
        while self.probes.latest_s - begun < seconds and time.monotonic() < end:
            for name, values in self._talk.messages(0.25):
                self.heard(name, values)
                self.probes.hear(name, values)

    def until_described(self) -> None:
        """Wait until the board has described itself."""
        self._talk.ask("info")  # the board describes itself before it answers
        description = self.heard.wait_for(self._talk, "description")
        self.probes.hear("description", description)


def check(
    port: Port = None,
    out: Annotated[Path, typer.Option("--out", help="Calibration file to write.")] = Path("calibration.json"),
    bath: Annotated[
        list[str] | None, typer.Option("--bath", help="Take this point for every channel now, without prompts: ice or boiling.")
    ] = None,
    only: Annotated[list[int] | None, typer.Option("--channel", help="Only these channels.")] = None,
    altitude: Annotated[
        str | None, typer.Option("--altitude", help="For boiling water without a barometer, e.g. 1600 m.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only faults and noise, no bath.")] = False,
    as_json: Json = False,
) -> None:
    """Probes: faults, noise, which is which, ice point, boiling water; writes a calibration. Example: hotfuel check --port /dev/ttyACM0"""
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk

    with open_port(the_port(port)) as opened:
        heard = Listener()
        talk = Talk(opened, heard)
        bench = Bench(talk, heard)
        bench.until_described()
        bench.listen(LOOK_S)
        channels = [channel for channel, _ in bench.probes.channels() if not only or channel in only]
        states = [bench.probes.state(channel) for channel in channels]
        for state in states:
            note(_about(state))
        if look:
            show({"probes": [vars(state) for state in states]}, [], as_json)
            return
        interactive = not bath
        if interactive:
            note(_SUCTION)
            if typer.confirm("Find out which probe is which, by warming each with a hand?", default=True, err=True):
                _which_is_which(bench, channels)
        points: dict[int, list[Point]] = {channel: [] for channel in channels}
        remarks: list[str] = []
        for name in bath or ["ice", "boiling"]:
            if name not in ("ice", "boiling"):
                raise InputError(f'--bath "{name}" is not known; allowed are ice and boiling')
            pressure_kpa = _pressure(bench, altitude) if name == "boiling" else None
            _take(bench, channels, name, pressure_kpa, interactive, points, remarks)
        calibration = _calibration(bench, points, remarks, out)
    calibration.save(out)
    lines = [
        f"{line.place}: offset {line.offset_degc:+.2f} °C, gain {line.gain:.4f}, good to {expanded(line.uncertainty_degc):.2f} °C (95 %)"
        for line in calibration.channels.values()
    ]
    lines += [*remarks, f"written: {out}; copy it into a session's folder, or record with it beside the car file"]
    show({"calibration": calibration.model_dump(mode="json"), "remarks": remarks, "file": str(out)}, lines, as_json)


def _about(state: "ProbeState") -> str:
    if not state.readings:
        seen = f" ({', '.join(fault.replace('_', ' ') for fault in state.faults)})" if state.faults else ""
        return f"channel {state.channel}, {place_words(state.place)}: no temperature{seen}; look at its wires and plug"
    noise = f"noise {state.noise_degc:.2f} °C" if math.isfinite(state.noise_degc) else "too few readings to measure its noise"
    text = f"channel {state.channel}, {place_words(state.place)}: {state.mean_degc:.1f} °C, {noise}"
    if state.noise_degc > 0.5:
        text += " (high: twist the leads, move them away from the ignition)"
    if state.faults:
        text += f"; faults seen: {', '.join(fault.replace('_', ' ') for fault in state.faults)}"
    return text + (f"; a {state.chip} cannot see {', '.join(state.cannot_see)}" if state.cannot_see else "")


def _means(bench: Bench, channels: list[int]) -> dict[int, float]:
    return {channel: bench.probes.state(channel).mean_degc for channel in channels}


def _which_is_which(bench: Bench, channels: list[int]) -> None:
    from hotfuel.record.probe_check import warmed

    names = dict(bench.probes.channels())
    for channel in channels:
        bench.probes.forget()
        bench.listen(4.0)
        before = _means(bench, channels)
        typer.confirm(
            f"Hold the tip of the probe at {names[channel]} in your hand, then press Enter and keep holding",
            default=True,
            err=True,
        )
        bench.listen(10.0)
        bench.probes.forget()
        bench.listen(3.0)
        found = warmed(before, _means(bench, channels))
        if found is None:
            note("no one probe became clearly warmer than the others; is it in a clamp or a thick sheath? Nothing was changed")
        elif found == channel:
            note(f"yes, that is channel {channel}")
        else:
            note(
                f"that one is channel {found}, named {names[found]}: two probes are swapped; exchange their plugs, or their names"
            )


def _pressure(bench: Bench, altitude: str | None) -> float:
    from hotfuel.cli.shared_car import altitude_m
    from hotfuel.record.probe_check import boiling_pressure_kpa
    from hotfuel.risk.pressure import standard_atmosphere_kpa

    if altitude:
        return float(standard_atmosphere_kpa(altitude_m(altitude)))
    measured = boiling_pressure_kpa(bench.heard.latest)
    if measured is None:
        raise InputError(
            "boiling water needs the air pressure and the board has no barometer: give --altitude with its unit, e.g. --altitude 600m"
        )
    return measured


def _take(
    bench: Bench,
    channels: list[int],
    name: str,
    pressure_kpa: float | None,
    interactive: bool,
    points: "dict[int, list[Point]]",
    remarks: list[str],
) -> None:
    """Calibrate at one bath, all probes together."""
    from hotfuel.temperature.calibration import STEADY_S, point

    words = {"ice": "crushed ice and a little water, stirred", "boiling": "water at a rolling boil"}[name]
    if interactive and not typer.confirm(
        f"{_BATH_CAUTION} Put the probes into {words}; ready? (n leaves this bath out)", default=True, err=True
    ):
        return
    bench.probes.forget()
    end = time.monotonic() + WAIT_MOST_S
    trouble: dict[int, str] = {}
    while True:
        bench.listen(2.0)
        if bench.probes.seconds() < STEADY_S + MORE_S:
            if time.monotonic() > end:
                raise LinkError("too few readings arrive; check the link with `hotfuel board info`")
            continue
        trouble = {}
        taken = {}
        for channel in channels:
            time_s, degc, cold = bench.probes.readings(channel)
            try:
                taken[channel] = point(name, degc, time_s, cold, pressure_kpa=pressure_kpa)
            except InputError as error:
                trouble[channel] = str(error)
        if not trouble or not interactive or time.monotonic() > end:
            break
        note("waiting until steady: " + "; ".join(trouble.values()))
    for channel, one in taken.items():
        points[channel].append(one)
    names = dict(bench.probes.channels())
    remarks += [f"{names[channel]}: {text}" for channel, text in trouble.items()]


def _calibration(bench: Bench, points: "dict[int, list[Point]]", remarks: list[str], out: Path) -> "Calibration":
    from hotfuel.temperature.calibration import Calibration, line_through

    names = dict(bench.probes.channels())
    lines = {}
    if out.exists():
        kept = Calibration.load(out)
        if kept.board_id != bench.probes.board_id:
            raise InputError(
                f"{out} belongs to board {kept.board_id}, this one is {bench.probes.board_id}: give another --out; nothing is overwritten"
            )
        lines = dict(kept.channels)
    made = 0
    for channel, taken in points.items():
        if not taken:
            continue
        try:
            lines[channel] = line_through(names[channel], taken, datetime.date.today())
            made += 1
        except InputError as error:
            remarks.append(str(error))
    if not made:
        raise InputError("no channel could be calibrated: " + "; ".join(remarks or ["no bath was taken"]))
    return Calibration(board_id=bench.probes.board_id, channels=lines)
