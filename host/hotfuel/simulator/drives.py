"""What the driver does: from phases to engine speed, power, fuel used, road speed and height over time. Roads and car are invented."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from hotfuel.errors import InputError
from hotfuel.simulator.circuit import Circuit

STEP_S = 0.25
KINDS = ("idle", "cruise", "town", "pulls", "laps", "off")
CRANK_S = 3.0
_MOVING_KM_H = 5.0
_RPM_PER_KM_H = (95.0, 55.0, 38.0, 28.0)  # by gear
_LUGGING_RPM = 1300.0
_PULL_S, _PULL_EVERY_S = 10.0, 55.0
_PULL_RPM = (2200.0, 5000.0)
_TOWN_CYCLE_S, _TOWN_STANDING_S = 70.0, 22.0
_GRAVITY_M_S2 = 9.81


@dataclass(frozen=True)
class Phase:
    """One part of a drive. kind: "idle", "cruise", "town" (stop and go), "pulls" (full throttle for 10 s out of every 55),
    "laps" (hotfuel.simulator.circuit, as fast as its bends allow), "off".

    speed_km_h: of cruise and pulls, or the peaks in town. climb_m: height gained, negative downhill.
    """

    name: str
    minutes: float
    kind: str
    speed_km_h: float = 0.0
    climb_m: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f'a phase of the kind "{self.kind}" cannot be driven; there are {", ".join(KINDS)}')
        if not 0 < self.minutes <= 600:
            raise InputError(f'the phase "{self.name}" lasts {self.minutes:g} min; allowed is more than 0 to 600 min')


@dataclass(frozen=True)
class Engine:
    """What turns driving into fuel used. Fuel used = idle share x speed + rest x power (Willans line)."""

    idle_rpm: float = 750.0
    idle_flow_l_h: float = 4.0
    full_flow_l_h: float = 75.0
    full_power_kw: float = 179.0
    full_rpm: float = 5000.0
    car_kg: float = 1500.0
    rolling: float = 0.015
    drag_area_m2: float = 0.95

    def used_l_h(self, rpm: np.ndarray, power_kw: np.ndarray) -> np.ndarray:
        """Fuel used at a speed and a power. Example: 750 rpm without power -> 4 L/h."""
        per_rpm = self.idle_flow_l_h / self.idle_rpm
        per_kw = (self.full_flow_l_h - per_rpm * self.full_rpm) / self.full_power_kw
        return np.minimum(per_rpm * rpm + per_kw * power_kw, self.full_flow_l_h)

    def road_power_kw(self, speed_km_h: np.ndarray, climb_m_s: np.ndarray) -> np.ndarray:
        """Power on the flat, uphill or downhill at a steady speed: rolling, drag at 1.15 kg/m3, height; never below zero."""
        speed = speed_km_h / 3.6
        force_n = self.rolling * self.car_kg * _GRAVITY_M_S2 + 0.5 * 1.15 * self.drag_area_m2 * speed**2
        return np.clip((force_n * speed + self.car_kg * _GRAVITY_M_S2 * climb_m_s) / 1000 / 0.85, 0, self.full_power_kw)


@dataclass(frozen=True)
class Profile:
    """A drive over time, arrays (n,) every STEP_S from 0. phase: index into names. flow is what the engine burns, not what goes through the line."""

    time_s: np.ndarray
    phase: np.ndarray
    names: tuple[str, ...]
    speed_km_h: np.ndarray
    climbed_m: np.ndarray
    power_kw: np.ndarray
    engine_rpm: np.ndarray
    used_l_h: np.ndarray
    running: np.ndarray
    cranking: np.ndarray
    ignition: np.ndarray


def drive(phases: Sequence[Phase], engine: Engine, rng: np.random.Generator, variation: float = 1.0) -> Profile:
    """The phases as one driver drives them. variation: 0 is the drive as written, 1 adds the usual variation of day and driver."""
    if not phases:
        raise InputError("a drive needs at least one phase")
    lengths = [max(4, round(phase.minutes * 60 * (1 + 0.03 * variation * rng.standard_normal()) / STEP_S)) for phase in phases]
    eager = 1 + 0.03 * variation * rng.standard_normal()
    total = sum(lengths)
    mood = variation * wander(rng, total, 20.0)
    index = np.repeat(np.arange(len(phases)), lengths)
    speed, power, rpm, climb = (np.zeros(total) for _ in range(4))
    first = 0
    for phase, length in zip(phases, lengths, strict=True):
        part = slice(first, first + length)
        at_s = np.arange(length) * STEP_S
        climb[part] = phase.climb_m / (length * STEP_S)
        speed[part] = np.maximum(_speed(phase, at_s) * eager * (1 + 0.04 * mood[part]), 0.0)
        first += length
    running = np.repeat([phase.kind != "off" for phase in phases], lengths)
    pulling = np.zeros(total, dtype=bool)
    for number, phase in enumerate(phases):
        if phase.kind == "pulls":
            inside = np.flatnonzero(index == number)
            pulling[inside] = (np.arange(len(inside)) * STEP_S) % _PULL_EVERY_S < _PULL_S
    moving = speed > _MOVING_KM_H
    rpm = np.where(moving, np.maximum(_geared(speed), engine.idle_rpm), engine.idle_rpm + 12 * mood)
    power = np.where(moving, engine.road_power_kw(speed, climb), 0.0)
    lapping = np.isin(index, [number for number, phase in enumerate(phases) if phase.kind == "laps"])
    if lapping.any():  # elsewhere nobody accelerates hard, and this is left out
        gaining = engine.car_kg * np.gradient(speed / 3.6, STEP_S) * speed / 3.6 / 1000 / 0.85
        power = np.where(lapping, np.clip(power + gaining, 0, engine.full_power_kw), power)
    through_pull = (np.cumsum(pulling) - np.maximum.accumulate(np.where(pulling, 0, np.cumsum(pulling)))) * STEP_S / _PULL_S
    rpm = np.where(pulling, _PULL_RPM[0] + (_PULL_RPM[1] - _PULL_RPM[0]) * np.clip(through_pull, 0, 1), rpm)
    power = np.where(pulling, engine.full_power_kw * rpm / engine.full_rpm, power)
    used = engine.used_l_h(rpm, power)
    used = np.where(pulling, np.maximum(used, engine.full_flow_l_h * rpm / engine.full_rpm), used)
    started = running & ~np.concatenate([[False], running[:-1]])
    cranking = np.zeros(total, dtype=bool)
    for step in np.flatnonzero(started):
        cranking[step : step + round(CRANK_S / STEP_S)] = True
    rpm = np.where(running, np.where(cranking, 180 + 8 * mood, rpm), 0.0)
    used = np.where(running, np.where(cranking, 0.3 * engine.idle_flow_l_h, used), 0.0)
    return Profile(
        time_s=np.arange(total) * STEP_S,
        phase=index,
        names=tuple(phase.name for phase in phases),
        speed_km_h=np.where(running, speed, 0.0),
        climbed_m=np.cumsum(climb) * STEP_S,
        power_kw=np.where(running & ~cranking, power, 0.0),
        engine_rpm=rpm,
        used_l_h=used,
        running=running,
        cranking=cranking,
        ignition=running,
    )


def _speed(phase: Phase, at_s: np.ndarray) -> np.ndarray:
    if phase.kind in ("idle", "off"):
        return np.zeros_like(at_s)
    ends = np.minimum(at_s, at_s[-1] - at_s) / 12.0  # twelve seconds to get going, and to stop
    if phase.kind == "town":
        moving_s = _TOWN_CYCLE_S - _TOWN_STANDING_S
        cycle = at_s % _TOWN_CYCLE_S
        hump = np.sin(np.pi * np.clip(cycle / moving_s, 0, 1)) ** 0.5
        return phase.speed_km_h * np.where(cycle < moving_s, hump, 0.0)
    if phase.kind == "laps":
        lap = Circuit().speed_over_time(STEP_S)
        return 3.6 * lap[np.arange(len(at_s)) % len(lap)]
    if phase.kind == "pulls":
        cycle = at_s % _PULL_EVERY_S
        faster = np.interp(cycle, [0, _PULL_S, 2.5 * _PULL_S, _PULL_EVERY_S], [0, 1, 0, 0])
        return phase.speed_km_h * (1 + 0.8 * faster)
    return phase.speed_km_h * np.clip(ends, 0, 1)


def _geared(speed_km_h: np.ndarray) -> np.ndarray:
    """Engine speed in the highest gear that does not lug."""
    choices = np.outer(_RPM_PER_KM_H, speed_km_h)
    best = np.where(choices >= _LUGGING_RPM, choices, np.inf).min(axis=0)
    return np.where(np.isinf(best), choices[0], best)


def wander(rng: np.random.Generator, count: int, memory_s: float) -> np.ndarray:
    """First-order noise of mean 0 and standard deviation 1 with this correlation time, (count,), every STEP_S."""
    keep = np.exp(-STEP_S / memory_s)
    kicks = rng.standard_normal(count) * np.sqrt(1 - keep**2)
    kicks[0] = rng.standard_normal()
    return first_order(kicks, keep, 0.0)


def first_order(kicks: np.ndarray, keep: float, before: float) -> np.ndarray:
    """y[n] = keep y[n-1] + kicks[n], (n,), with `before` at n = -1. scipy.signal has it too, and takes 0.8 s to load."""
    following = accumulate(kicks.tolist(), lambda y, kick: keep * y + kick, initial=before)
    return np.fromiter(following, float, len(kicks) + 1)[1:]


# Drives. Phases have everyday names.

SUMMER_DRIVE = (
    Phase("cold start", 1.5, "idle"),
    Phase("town", 5.5, "town", 55.0),
    Phase("hill", 6.0, "cruise", 62.0, climb_m=250.0),
    Phase("full throttle", 2.0, "pulls", 70.0),
    Phase("queue", 5.0, "idle"),
    Phase("hot soak", 14.0, "off"),
    Phase("restart", 1.0, "idle"),
    Phase("drive on", 2.5, "cruise", 60.0),
)
QUEUE_AND_SOAK = (
    Phase("warm up", 4.0, "cruise", 60.0),
    Phase("drive", 6.0, "cruise", 64.0),
    Phase("queue", 5.0, "idle"),
    Phase("hot soak", 10.0, "off"),
)
HOT_LAPS = (  # full throttle again and again, as on a circuit, with a stay in the pit lane between
    Phase("warm up", 4.0, "cruise", 60.0),
    Phase("hot laps", 6.0, "pulls", 80.0),
    Phase("pit lane", 3.0, "idle"),
    Phase("hot laps again", 5.0, "pulls", 80.0),
    Phase("hot soak", 6.0, "off"),
    Phase("restart", 1.0, "idle"),
)
TRACK_DAY = (  # laps of the circuit, hard ones, with a stay in the pit lane between
    Phase("warm up", 3.0, "cruise", 70.0),
    Phase("laps", 6.0, "laps"),
    Phase("pit lane", 3.0, "idle"),
    Phase("laps again", 5.0, "laps"),
    Phase("hot soak", 4.0, "off"),
)
STEADY_40_MPH = (
    Phase("warm up", 15.0, "cruise", 64.4),
    Phase("steady", 15.0, "cruise", 64.4),
    Phase("idle after", 10.0, "idle"),
)
