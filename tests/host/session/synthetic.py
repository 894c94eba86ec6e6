"""A recording made frame by frame with the wire's own codec, for tests: temperatures that are known exactly."""

from functools import lru_cache

import numpy as np
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import CHIPS, EVENTS, FITTED, GAP_REASONS, NO_CHANNEL

MV_PER_CODE = 1000 / (32 * 1.6 * (1 << 17))  # MAX31856, voltage mode, gain 32 (datasheet 19-7534)
BOARD_ID = bytes(range(8))
DEFAULT_PLACES = ("tank", "pump", "carb_inlet")
START_WALL_S = 1_780_000_000.0


def codes_of(hot_degc, cold_degc):
    """The amplifier's codes for junctions at hot_degc, any shape, as plain integers."""
    return np.round((emf_mv(hot_degc) - emf_mv(cold_degc)) / MV_PER_CODE).astype(int).tolist()


@lru_cache(maxsize=20000)
def _codes(hot_degc, cold_degc):
    return codes_of(hot_degc, cold_degc)


class Recording:
    """Builds a wire.log. Times are board seconds since boot."""

    def __init__(self, places=DEFAULT_PLACES, period_ms=200, boot_count=1):
        self.places, self.period_ms = places, period_ms
        self.frames = []
        self.boot(boot_count)

    @property
    def data(self):
        return b"".join(self.frames)

    def add(self, name, time_s, **values):
        time_ms = round(time_s * 1000)
        header = {"tick": time_ms // self.period_ms, "time_ms": time_ms & 0xFFFFFFFF}
        payload = codec.pack(name, header | values)
        self.frames.append(framing.encode(payload))
        return payload

    def boot(self, boot_count, time_s=0.0, reset_cause=1):
        channel = {
            "chip": CHIPS["MAX31856"], "thermocouple": ord("K"), "gain": 32, "mains_hz": 50, "averages": 1, "mode": 0, "resolution_bits": 19,
        }  # fmt: skip
        payload = self.add(
            "description", time_s, protocol_version=1, firmware_major=1, firmware_minor=2, firmware_patch=3, board_id=BOARD_ID, boot_count=boot_count,
            reset_cause=reset_cause, period_ms=self.period_ms, simulated=0, simulated_speed=0,
            channels=[channel | {"place": name.encode()} for name in self.places],
        )  # fmt: skip
        self.description_id = codec.description_id(payload)

    def anchor(self, time_s, wall_s=None):
        wall_us = round((START_WALL_S + time_s if wall_s is None else wall_s) * 1e6)
        self.add("wall_anchor", time_s, wall_us=wall_us, monotonic_us=round(time_s * 1e6), flags=0)

    def reading(self, time_s, degc, cold_degc=30.0, status=0):
        """degc: one number per channel, or an int below NOT_A_CODE as the code itself."""
        given = [isinstance(value, int) and value < -1000 for value in degc]
        codes = _codes(tuple(0.0 if is_code else float(value) for value, is_code in zip(degc, given, strict=True)), cold_degc)
        self.coded(
            time_s,
            [value if is_code else code for value, code, is_code in zip(degc, codes, given, strict=True)],
            cold_degc,
            status,
        )

    def coded(self, time_s, codes, cold_degc=30.0, status=0):
        """A reading of these codes: of a long series they are worked out together, with `codes_of`."""
        cold = round(cold_degc * 256)
        channels = [{"hot": code, "cold": cold, "status": status} for code in codes]
        self.add("reading", time_s, description_id=self.description_id, channels=channels)

    def auxiliary(self, time_s, pulses=0, fuel_pressure_percent=None, battery_v=None, ignition=True, barometer=b""):
        fitted = FITTED["engine_pulses"] | FITTED["ignition"]
        fitted |= FITTED["fuel_pressure"] if fuel_pressure_percent is not None else 0
        fitted |= FITTED["battery"] if battery_v is not None else 0
        fitted |= FITTED["barometer"] if barometer else 0
        self.add(
            "auxiliary", time_s, fitted=fitted, inputs=1 if ignition else 0, battery=round((battery_v or 0) / 11 / 3.3 * 65535),
            fuel_pressure=round((fuel_pressure_percent or 0) / 100 * 65535), pulses=int(pulses) % (1 << 32), barometer=barometer,
        )  # fmt: skip

    def mark(self, time_s, text):
        self.add("mark", time_s, wall_us=round((START_WALL_S + time_s) * 1e6), text=text.encode())

    def event(self, time_s, name, value=0, detail=b"", channel=NO_CHANNEL):
        self.add("event", time_s, code=EVENTS[name], channel=channel, value=value, detail=detail)

    def link_gap(self, time_s, length_s, reason="port_gone"):
        wall_us = round((START_WALL_S + time_s) * 1e6)
        self.add(
            "link_gap", time_s, wall_us=wall_us, length_ms=round(length_s * 1000), bytes_damaged=0, reason=GAP_REASONS[reason]
        )


def climb(time_s):
    """(n, 3) degC of the three default places: a warm tank, a pump that passes its limit and cools again, an inlet that follows it."""
    t = np.asarray(time_s, dtype=float)
    bump = np.exp(-(((t - 400) / 150) ** 2))
    return np.stack([32 + t / 200, 40 + 26 * bump, 45 + 18 * np.roll(bump, 0)], axis=-1)


def drive(duration_s=800.0, anchored=True):
    """The recording most tests use: engine from 20 s to 450 s, a mark, an event, a link gap from 600 to 630 s."""
    made = Recording()
    times = np.arange(0, duration_s, 0.2)
    if anchored:
        made.anchor(0.0)
    pulses = 0.0
    for number, (time_s, codes) in enumerate(zip(times.tolist(), codes_of(climb(times), 30.0), strict=True)):
        if 600 < time_s < 630:
            continue
        running = 20 <= time_s < 450
        pulses += 1500 / 60 * 4 * 0.2 if running else 0
        made.coded(time_s, codes)
        if number % 5 == 0:
            made.auxiliary(
                time_s,
                pulses,
                fuel_pressure_percent=10 + 80 * 5.5 / 15 if running else 10.5,
                battery_v=13.8,
                ignition=time_s < 450,
            )
        if anchored and number % 100 == 0:
            made.anchor(time_s)
        if abs(time_s - 450) < 0.01:
            made.mark(time_s, "stopped at the top")
            made.event(time_s, "ignition_off")
        if abs(time_s - 600) < 0.01:
            made.link_gap(time_s, 30.0)
    return made
