"""Sessions whose true difference is known: a small independent thermal model, written as the wire's frames. Nothing here uses the host's models.

Four masses heat each other (engine, air under the bonnet, tank, fuel at two places); a change subtracts so many degC at a place
from the first half minute on, so that the truth is exact in every later phase. Noise is added in layers: of the day, of the run,
of each place in a run, of the sensor (AR(1)).
"""

import json
from dataclasses import dataclass, field, replace

import numpy as np

# codes are EMF: the reference function, which is tested against the standard separately
from hotfuel.temperature.thermocouple import (
    emf_mv,
)
from hotfuel_wire import codec, framing
from scipy.signal import lfilter

PLACES = ("tank", "pump", "carb_inlet")
CHANNEL = {"chip": 1, "thermocouple": 75, "gain": 32, "mains_hz": 60, "averages": 1, "mode": 0, "resolution_bits": 19}
FULL_AFTER_S = 10.0
COLD_DEGC, MV_PER_CODE = 30.0, 1000 / (32 * 1.6 * 2**17)
NO_ANSWER = -0x3FFFFFFF
DAY_S = 86400
MONDAY_S = 1_780_272_000 + 9 * 3600  # Monday, 1 June 2026, 9:00 UTC
DRIVE = (("drive", 300), ("idle", 120), ("stop", 240), ("idle", 60))
RPM = {"drive": 2200.0, "idle": 750.0, "stop": 0.0, "pull": 2200.0}
PULL_S, PULL_RPM = 10, 5000.0  # a pull runs through the speeds up to this one, then starts over

CAR = """
name = "Trial car"
units = "si"
altitude = "300 m"
[fuel]
vapour_pressure = "{vapour_pressure_kpa} kPa"
t10 = "55 degC"
t50 = "100 degC"
t90 = "165 degC"
ethanol = "0 %"
[engine]
idle_speed = "750 rpm"
pulses_per_revolution = 4
displacement = "5.0 L"
[[place]]
name = "tank"
channel = 0
role = "tank"
[[place]]
name = "pump"
channel = 1
role = "pump"
probe = {{ mount = "axial", sheath = "1.6 mm", lag = "1.5 s" }}
[[place]]
name = "carb_inlet"
channel = 2
role = "carburettor"
probe = {{ mount = "axial", sheath = "1.6 mm", lag = "1.5 s" }}
"""


@dataclass(frozen=True)
class Made:
    """One run: when, outside air, what was driven, what was changed, and how it differs from a run without noise."""

    start_s: float = MONDAY_S
    ambient_degc: float = 27.0
    ambient_slope: float = 1.0  # how much the fuel follows outside air
    stated: bool = True  # whether outside air was noted
    stated_error_degc: float = 0.0
    drive: tuple = DRIVE
    change_degc: dict = field(default_factory=dict)  # {place: degC added}
    offset_degc: dict = field(default_factory=dict)  # {place: degC added} of day and run
    switched_degc: dict = field(default_factory=dict)  # {place: degC added} from each mark "b" to the next "a"
    switched_lag_s: float = 0.0  # how slowly places follow that
    drift_degc: tuple = ()  # of all places, second by second
    warm_degc: float = 0.0  # all fuel above outside air at the start
    engine_warm_degc: float = 0.0
    sensor_sd_degc: float = 0.3
    sensor_memory_s: float = 20.0
    vapour_pressure_kpa: float = 60.0
    pressure_kpa: float = np.nan  # stated in the car file instead of the altitude
    engine_speed: bool = True
    ignition: bool = True
    marks: tuple = ()
    dead: tuple = ()  # ((place, first second, last second), ...)
    read_by: tuple = PLACES  # the fuel that each channel's probe is really in
    probe_off_degc: dict = field(default_factory=dict)  # {place: degC} that the probe itself reads too high, cold as well
    title: str = ""


def seconds_of(drive):
    """(what is driven in each second, (n,) of text)."""
    return np.concatenate([[kind] * int(length) for kind, length in drive])


def truth(made):
    """Fuel at each place, (n, 3) degC at 1 Hz, with change and offsets, without the sensor's noise."""
    outside = 27.0 + made.ambient_slope * (made.ambient_degc - 27.0)
    engine, tank = outside + made.engine_warm_degc, outside + made.warm_degc
    air, pump, inlet = tank, tank, tank
    rows = []
    for kind in seconds_of(made.drive):
        engine += ((outside + 70 if kind != "stop" else outside) - engine) / (300 if kind != "stop" else 3600)
        if kind == "stop":
            air += (outside + 0.55 * (engine - outside) - air) / 90
            pump += (air - pump) / 200
            inlet += (air + 0.1 * (engine - air) - inlet) / 160
        else:
            air += (outside + (8 if kind in ("drive", "pull") else 20) - air) / 60
            share = {"drive": 0.3, "pull": 0.15}.get(kind, 0.6)
            pump += (tank + share * (air - tank) - pump) / 30
            inlet += (pump + share * (air + 0.1 * (engine - air) - pump) - inlet) / 30
        tank += (outside + 5 - tank) / 6000
        rows.append((tank, pump, inlet))
    degc = np.array(rows)
    driven_s = np.maximum(np.arange(len(degc)) - np.argmax(seconds_of(made.drive) != "stop"), 0)
    began = 1 - np.exp(-driven_s / FULL_AFTER_S)  # before anything is heated a change has no effect
    for column, place in enumerate(PLACES):
        degc[:, column] += began * (made.change_degc.get(place, 0.0) + made.offset_degc.get(place, 0.0))
        degc[:, column] += made.switched_degc.get(place, 0.0) * _switched(made, len(degc))
    return degc + np.array(made.drift_degc[: len(degc)] or [0.0])[:, None]


def _switched(made, count):
    """The share of the switched change that is felt in each second, 0 to 1."""
    state = np.zeros(count)
    for second, text in made.marks:
        state[int(second) :] = text == "b"
    keep = np.exp(-1 / made.switched_lag_s) if made.switched_lag_s else 0.0
    return lfilter([1 - keep], [1, -keep], state)


def write(folder, made, random, number=1):
    """Write the session's folder, as a recorder would leave it."""
    degc = truth(made)
    keep = np.exp(-1 / made.sensor_memory_s)
    kicks = random.normal(0, made.sensor_sd_degc * np.sqrt(1 - keep**2), degc.shape)
    degc = degc + lfilter([1], [1, -keep], kicks, axis=0)
    degc = degc[:, [PLACES.index(place) for place in made.read_by]]
    degc = degc + np.array([made.probe_off_degc.get(place, 0.0) for place in PLACES])
    codes = np.round((emf_mv(degc) - float(emf_mv(COLD_DEGC))) / MV_PER_CODE).astype(int)
    for place, first, last in made.dead:
        codes[int(first) : int(last), PLACES.index(place)] = NO_ANSWER
    folder.mkdir(parents=True)
    car = CAR.format(vapour_pressure_kpa=made.vapour_pressure_kpa)
    if np.isfinite(made.pressure_kpa):
        car = car.replace('altitude = "300 m"', f'station_pressure = "{made.pressure_kpa} kPa"')
    (folder / "car.toml").write_text(car, encoding="utf-8")
    about = {"ambient_degc": made.ambient_degc + made.stated_error_degc} if made.stated else {}
    about |= {"title": made.title} if made.title else {}
    stored = {"format": 1, "metadata": about | {"utc_offset_min": 0}}
    (folder / "session.json").write_text(json.dumps(stored), encoding="utf-8")
    (folder / "wire.log").write_bytes(_log(made, codes, number))
    return folder


def _log(made, codes, number):
    described = {
        "protocol_version": 1, "firmware_major": 0, "firmware_minor": 1, "firmware_patch": 0, "board_id": b"trialcar", "boot_count": number,
        "reset_cause": 1, "period_ms": 1000, "simulated": 0, "simulated_speed": 0,
        "channels": [{**CHANNEL, "place": place.encode()} for place in PLACES],
    }  # fmt: skip
    payload = codec.pack("description", {"tick": 0, "time_ms": 0, **described})
    identity = codec.description_id(payload)
    wall_us = int(made.start_s * 1e6)
    anchor = {"tick": 0, "time_ms": 1, "wall_us": wall_us, "monotonic_us": 0, "flags": 0}
    out = [payload, codec.pack("wall_anchor", anchor)]
    kinds = seconds_of(made.drive)
    fitted = 16 * made.ignition + 8 * made.engine_speed
    pulses, cold = 0.0, round(COLD_DEGC * 256)
    for second, (row, kind) in enumerate(zip(codes.tolist(), kinds.tolist(), strict=True), start=1):
        header = {"tick": second, "time_ms": 1000 * second}
        channels = [{"hot": code, "cold": cold, "status": 0} for code in row]
        out.append(codec.pack("reading", {**header, "description_id": identity, "channels": channels}))
        into = second % (PULL_S + 2)  # two seconds between pulls
        rising = (PULL_RPM - RPM[kind]) * into / PULL_S if kind == "pull" and into <= PULL_S else 0.0
        pulses += (RPM[kind] + rising) / 60 * 4
        values = {"fitted": fitted, "inputs": int(kind != "stop"), "battery": 0, "fuel_pressure": 0}
        if fitted:
            out.append(codec.pack("auxiliary", {**header, **values, "pulses": int(pulses), "barometer": b""}))
    for second, text in made.marks:
        header = {"tick": int(second), "time_ms": int(1000 * second)}
        values = {"wall_us": wall_us + int(second * 1e6), "text": text.encode()}
        out.append(codec.pack("mark", header | values))
    return b"".join(framing.encode(one) for one in out)


def noise(random, common_sd_degc, own_sd_degc, common_degc=0.0):
    """Offsets {place: degC} of one run: common_degc (the day's, drawn before), one shared by all places, and one for each place."""
    shared = common_degc + random.normal(0, common_sd_degc)
    return {place: shared + random.normal(0, own_sd_degc) for place in PLACES}


__all__ = ["DAY_S", "MONDAY_S", "PLACES", "Made", "noise", "replace", "truth", "write"]
