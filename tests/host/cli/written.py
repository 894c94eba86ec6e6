"""A session folder as the recorder would write it, from known temperatures and engine speed."""

import numpy as np
from hotfuel.session import metadata
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import NO_ANSWER

CHANNEL = {"chip": 1, "thermocouple": 75, "gain": 32, "mains_hz": 60, "averages": 1, "mode": 0, "resolution_bits": 19}
COLD_DEGC = 28.0
LSB_MV = 1000 / (32 * 1.6 * 2**17)
IGNITION_AND_PULSES = 24
FITTED = {"battery": 2, "fuel_pressure": 4}


def write(
    folder,
    car,
    places,
    degc,
    engine_rpm,
    *,
    about=None,
    wall_s=1_780_000_000,
    boot=1,
    period_ms=500,
    pulses_per_revolution=4,
    counts=None,
    cold_degc=COLD_DEGC,
):
    """degc (n, places), nan for no reading, and engine_rpm (n,), one value each `period_ms`; engine speed is sent as pulses once a second. counts:
    {"battery", "fuel_pressure"} where fitted. cold_degc: of the amplifiers, one or (n,)."""
    folder.mkdir(parents=True)
    (folder / "car.toml").write_text(car, encoding="utf-8")
    metadata.write(folder / "session.json", about or {})
    described = {
        "protocol_version": 1,
        "firmware_major": 0,
        "firmware_minor": 1,
        "firmware_patch": 0,
        "board_id": b"12345678",
        "boot_count": boot,
        "reset_cause": 1,
        "period_ms": period_ms,
        "simulated": 0,
        "simulated_speed": 0,
        "channels": [{**CHANNEL, "place": place.encode()} for place in places],
    }
    payload = codec.pack("description", {"tick": 0, "time_ms": 0, **described})
    number = codec.description_id(payload)
    anchor = {"tick": 0, "time_ms": 1, "wall_us": int(wall_s * 1e6), "monotonic_us": 0, "flags": 0}
    out = [payload, codec.pack("wall_anchor", anchor)]
    read = np.isfinite(degc)
    box = np.broadcast_to(cold_degc, len(degc))[:, None]
    codes = np.where(read, np.round((emf_mv(np.where(read, degc, box)) - emf_mv(box)) / LSB_MV), NO_ANSWER).astype(int)
    cold = np.round(256 * box[:, 0]).astype(int).tolist()
    pulses, every = 0.0, max(1, 1000 // period_ms)
    for step, row in enumerate(codes.tolist(), start=1):
        header = {"tick": step, "time_ms": step * period_ms}
        channels = [{"hot": code, "cold": cold[step - 1], "status": 0} for code in row]
        out.append(codec.pack("reading", {**header, "description_id": number, "channels": channels}))
        pulses += engine_rpm[step - 1] / 60 * pulses_per_revolution * period_ms / 1000
        if step % every == 0:
            on = int(engine_rpm[step - 1] > 0)
            values = {
                "fitted": IGNITION_AND_PULSES + sum(FITTED[name] for name in counts or ()),
                "inputs": on,
                **{name: (counts or {}).get(name, 0) for name in FITTED},
                "pulses": int(pulses),
                "barometer": b"",
            }
            out.append(codec.pack("auxiliary", {**header, **values}))
    (folder / "wire.log").write_bytes(b"".join(framing.encode(one) for one in out))
    return folder
