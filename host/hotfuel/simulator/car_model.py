"""The simulated car: from a scenario to what a board's terminals and inputs see, in blocks; the true temperatures are kept too.

    model = CarModel(scenarios()["summer drive"])
    for block in model.blocks(): ...
    model.truth["pump_degc"].max()

The same scenario with the same seed gives the same numbers. Names of cars, days and places are our own inventions.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
import pandas as pd

from hotfuel.errors import InputError
from hotfuel.simulator import probes
from hotfuel.simulator.drives import STEP_S, Profile, drive
from hotfuel.simulator.scenarios import Scenario, scenarios
from hotfuel.simulator.thermal import Weather, march, weather

__all__ = ["Block", "CarModel", "Scenario", "scenarios"]


@dataclass(frozen=True)
class Block:
    """A piece of time: arrays (n,), and (n, channels) for emf_mv and cold_degc.

    emf_mv: of the thermocouple loop, E(probe) - E(terminals), noise included; cold_degc: what the chip's own sensor has. Pressures: fuel gauge,
    ambient absolute. ignition: 1 on, 0 off. flow_l_h through the line, of it used_l_h by the engine; throttle and mixture go by that; second_pressure_kpa:
    gauge, in front of the filter.
    """

    time_s: np.ndarray
    emf_mv: np.ndarray
    cold_degc: np.ndarray
    engine_rpm: np.ndarray
    fuel_pressure_kpa: np.ndarray
    ambient_pressure_kpa: np.ndarray
    ambient_degc: np.ndarray
    battery_v: np.ndarray
    ignition: np.ndarray
    flow_l_h: np.ndarray
    used_l_h: np.ndarray
    returned_l_h: np.ndarray
    throttle_percent: np.ndarray
    mixture_lambda: np.ndarray
    second_pressure_kpa: np.ndarray


_CHANCES = ("driver", "day", "start", "box", "probes", "noise")


class CarModel:
    """One run of one car. Cheap to create; the heat is computed on first use."""

    def __init__(self, scenario: Scenario = Scenario()) -> None:
        self.scenario = scenario
        # A random generator each, so that another probe or fix does not change the day or the driver.
        self._chances = dict(zip(_CHANCES, np.random.SeedSequence(scenario.seed).spawn(len(_CHANCES)), strict=True))

    def _chance(self, name: str) -> np.random.Generator:
        return np.random.default_rng(self._chances[name])

    @property
    def duration_s(self) -> float:
        """How long the drive takes."""
        return len(self.profile.time_s) * STEP_S

    @cached_property
    def profile(self) -> Profile:
        """What the driver did."""
        return drive(self.scenario.drive, self.scenario.engine, self._chance("driver"), self.scenario.variation)

    @cached_property
    def _air(self) -> Weather:
        return weather(self.scenario, self.profile, self._chance("day"))

    @cached_property
    def _heat(self) -> dict[str, np.ndarray]:
        start_rise = 1.0 + self.scenario.variation * float(self._chance("start").standard_normal())
        return march(self.scenario, self.profile, self._air, start_rise)

    @cached_property
    def truth(self) -> pd.DataFrame:
        """The truth every quarter second: time_s, phase (name), speed, and thermal.TRUTH; "<place>_degc" is the fuel (or air, metal) at a place,
        "<place>_probe_degc" the junction of the probe fitted there."""
        columns: dict[str, object] = {
            "time_s": self.profile.time_s,
            "phase": pd.Categorical(np.asarray(self._phase_names)[self.profile.phase], self._phase_names),
        }
        columns |= {"engine_rpm": self.profile.engine_rpm, "speed_km_h": self.profile.speed_km_h} | self._heat
        columns |= {f"{fitted.where}_probe_degc": self._junctions[:, n] for n, fitted in enumerate(self.scenario.probes)}
        return pd.DataFrame(columns)

    @property
    def _phase_names(self) -> list[str]:
        """Each once, numbered where a drive has one twice."""
        names = self.profile.names
        return [name if names.count(name) == 1 else f"{name} {names[: n + 1].count(name)}" for n, name in enumerate(names)]

    @cached_property
    def _junctions(self) -> np.ndarray:
        chances = self._chance("probes").spawn(len(self.scenario.probes))
        return np.column_stack(
            [
                probes.junction_degc(fitted, self._heat, chance)
                for fitted, chance in zip(self.scenario.probes, chances, strict=True)
            ]
        )

    def blocks(self, dt_s: float = 0.05, block_s: float = 1.0) -> Iterator[Block]:
        """Blocks of `block_s`, samples every `dt_s`; the last one may be shorter. Raises InputError for steps that do not fit."""
        if not 0.005 <= dt_s <= 1.0 or not dt_s <= block_s <= 3600:
            raise InputError(
                f"steps of {dt_s:g} s in blocks of {block_s:g} s: allowed are steps of 0.005 to 1 s and blocks from one step to an hour"
            )
        return self._blocks(dt_s, block_s)

    def _blocks(self, dt_s: float, block_s: float) -> Iterator[Block]:
        heat, profile, channels = self._heat, self.profile, len(self.scenario.probes)
        box = probes.terminals(heat["ambient_degc"], channels, self._chance("box"))
        errors = np.array([fitted.error_degc for fitted in self.scenario.probes])
        emf = probes.loop_emf_mv(self._junctions, box.terminals_degc, errors)
        noise = self._chance("noise")
        known = profile.time_s
        volts, ignition = probes.battery_v(profile), profile.ignition.astype(float)
        count, per_block = round(self.duration_s / dt_s), max(1, round(block_s / dt_s))
        for first in range(0, count, per_block):
            time_s = np.arange(first, min(first + per_block, count)) * dt_s

            def at(values: np.ndarray, time_s: np.ndarray = time_s) -> np.ndarray:
                return np.interp(time_s, known, values)

            now = np.minimum((time_s / STEP_S).astype(int), len(known) - 1)  # switches are not interpolated
            rpm = at(profile.engine_rpm)
            flow, used = at(heat["flow_l_h"]), at(heat["used_l_h"])
            throttle = 100.0 * np.clip(used / self.scenario.engine.full_flow_l_h, 0.0, 1.0)
            yield Block(
                time_s=time_s,
                emf_mv=np.column_stack([at(emf[:, n]) for n in range(channels)]) + probes.noise_mv(rpm, channels, noise),
                cold_degc=np.column_stack([at(box.chip_degc[:, n]) for n in range(channels)]),
                engine_rpm=rpm,
                fuel_pressure_kpa=at(heat["fuel_pressure_kpa"]),
                ambient_pressure_kpa=at(heat["ambient_pressure_kpa"]),
                ambient_degc=at(heat["ambient_degc"]),
                battery_v=volts[now],
                ignition=ignition[now],
                flow_l_h=flow,
                used_l_h=used,
                returned_l_h=np.full_like(flow, self.scenario.fixes.return_flow_l_h) * (rpm > 0),
                throttle_percent=throttle,
                mixture_lambda=np.interp(throttle, [0.0, 60.0, 90.0], [1.0, 0.98, 0.86]),
                second_pressure_kpa=at(heat["fuel_pressure_kpa"]) + 0.1 * throttle,
            )

    def all(self, dt_s: float = 0.05) -> Block:
        """The whole run as one block."""
        pieces = list(self.blocks(dt_s, 60.0 if dt_s <= 1 else dt_s))
        return Block(**{entry.name: np.concatenate([getattr(piece, entry.name) for piece in pieces]) for entry in fields(Block)})
