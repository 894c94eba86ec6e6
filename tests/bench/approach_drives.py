"""Drives for trials of the announcement ahead of the limit, from two models: the simulated car with all values drawn at random,
and a small independent one. Both give what a recorder would see at 1 Hz; margins are calculated by the product's own function.

The second model: five masses (engine, exhaust, air under the bonnet, pump, carburettor's flange) and fuel that passes them at its
own flow. Lights, queues, pulls, gusts, a fan that switches on and off, stops and restarts come at random. Orders of magnitude
from common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from hotfuel import car as car_file
from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.risk.margin import PlaceMargin, margins
from hotfuel.risk.pressure import Conditions
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.drives import Phase
from hotfuel.simulator.scenarios import Body, Cooler, Fixes, Scenario
from scipy.signal import lfilter

PLACES = ("tank", "pump", "carb_inlet")
CAR = car_file.load(car_file.EXAMPLE)


@dataclass(frozen=True)
class Drive:
    """One drive at 1 Hz. degc: place -> (n,); running (n,); margins: place -> arrays (n,)."""

    seconds: np.ndarray
    running: np.ndarray
    degc: dict[str, np.ndarray]
    margins: dict[str, PlaceMargin]
    car: Car
    fuel: Fuel
    rpm: np.ndarray


def drives(count: int, seed: int, first: int = 0) -> Iterator[Drive]:
    """Independent drives `first` to `count` of different cars, fuels, days and drivers, of both models in turn."""
    for number in range(first, count):
        draw = np.random.default_rng([seed, number])
        yield simulated_car(draw) if number % 2 == 0 else second_model(draw)


def _fuel(draw: np.random.Generator) -> tuple[Car, dict[str, float]]:
    vapour_pressure_kpa = float(draw.uniform(58, 95))
    numbers = {
        "vapour_pressure_kpa": vapour_pressure_kpa,
        "t10_degc": 68 - 0.22 * vapour_pressure_kpa,
        "t50_degc": 100.0,
        "t90_degc": 165.0,
    }
    text = car_file.EXAMPLE.replace('vapour_pressure = "60 kPa"', f'vapour_pressure = "{vapour_pressure_kpa:.1f} kPa"')
    return car_file.load(text.replace('t10 = "55 degC"', f't10 = "{numbers["t10_degc"]:.1f} degC"')), numbers


def _phases(draw: np.random.Generator) -> list[tuple[str, float]]:
    """(kind, minutes) of what is driven, about an hour in all."""
    kinds, left = [("idle", float(draw.uniform(1, 3)))], float(draw.uniform(35, 60))
    while left > 0:
        kind = str(draw.choice(("cruise", "town", "pulls", "idle", "off"), p=(0.28, 0.30, 0.10, 0.22, 0.10)))
        least, most = {"cruise": (4, 12), "town": (4, 12), "pulls": (3, 6), "idle": (2, 10), "off": (4, 20)}[kind]
        minutes = float(draw.uniform(least, most))
        if kind == kinds[-1][0]:
            continue
        kinds.append((kind, minutes))
        if kind == "off":
            kinds.append(("idle", float(draw.uniform(0.5, 2))))
        left -= minutes
    return kinds


def simulated_car(draw: np.random.Generator) -> Drive:
    """The simulator's car, with every heat path varied."""
    car, fuel = _fuel(draw)
    body = Body()
    names = [name for name in vars(body) if name.endswith(("_w_k", "_j_k"))]
    body = replace(body, **{name: getattr(body, name) * float(np.exp(0.3 * draw.standard_normal())) for name in names})
    speeds = {"cruise": draw.uniform(60, 110), "town": draw.uniform(35, 55), "pulls": draw.uniform(80, 120)}
    phases = tuple(
        Phase(f"{kind} {number}", minutes, kind, speed_km_h=float(speeds.get(kind, 0.0)), climb_m=float(draw.uniform(0, 300) if kind == "cruise" else 0))
        for number, (kind, minutes) in enumerate(_phases(draw))
    )  # fmt: skip
    fixes = Fixes(
        sleeve_share=float(draw.choice((1.0, 0.35))), shield_share=float(draw.choice((1.0, 0.4))), return_flow_l_h=float(draw.choice((0.0, 25.0))),
        cooler=Cooler(fan=True) if draw.random() < 0.2 else None,
    )  # fmt: skip
    model = CarModel(
        Scenario(
            drive=phases, seed=int(draw.integers(1 << 30)), ambient_degc=float(draw.uniform(18, 36)), altitude_m=float(draw.uniform(0, 900)),
            fuel=fuel, body=body, fixes=fixes, start_block_degc=float(draw.uniform(40, 85)),
        )
    )  # fmt: skip
    truth = model.truth.iloc[::4]
    degc = {place: truth[f"{place}_probe_degc"].to_numpy() + _sensor(draw, len(truth)) for place in PLACES}
    running = (truth["engine_rpm"].to_numpy() > 0).astype(float)
    return _drive(
        car,
        degc,
        running,
        truth["ambient_pressure_kpa"].to_numpy(),
        truth["fuel_pressure_kpa"].to_numpy(),
        truth["engine_rpm"].to_numpy(),
    )


def second_model(draw: np.random.Generator) -> Drive:
    """The small model of this file."""
    car, _ = _fuel(draw)
    kinds = np.concatenate([[kind] * int(60 * minutes) for kind, minutes in _phases(draw)])
    count = len(kinds)
    outside = draw.uniform(18, 36) + 0.5 * _wander(draw, count, 400)
    gust = np.exp(0.4 * _wander(draw, count, 60))
    light_s, wait_s = draw.uniform(50, 120), draw.uniform(15, 45)

    def about(value: float, spread: float = 0.3) -> float:
        return value * float(np.exp(spread * draw.standard_normal()))

    engine_s, exhaust_s, bay_s, pump_s, flange_s = about(260), about(120), about(50), about(110), about(150)
    bay_idle, bay_moving = draw.uniform(18, 42), draw.uniform(5, 14)
    to_pump, to_inlet = about(0.45), about(0.55)
    thermostat, fan_on = draw.uniform(80, 95), draw.uniform(95, 102)
    engine, exhaust, tank = outside[0] + draw.uniform(5, 60), outside[0] + 50, outside[0] + draw.uniform(0, 6)
    bay = pump = flange = tank
    fuel_pump = fuel_inlet = tank
    fan, rows, running = False, [], np.ones(count)
    for second, kind in enumerate(kinds):
        at = "idle" if kind == "town" and second % light_s < wait_s else "cruise" if kind == "town" else kind
        flow = {"idle": 1.0, "cruise": 4.0, "pulls": 9.0, "off": 0.0}[at]
        running[second] = at != "off"
        fan = at != "off" and (engine > fan_on or (fan and engine > fan_on - 6))
        heat = {"idle": 1.0, "cruise": 1.6, "pulls": 3.0, "off": 0.0}[at]
        engine += (
            heat * 0.28
            - max(engine - thermostat, 0) * (0.02 + 0.05 * fan + (0.05 if at in ("cruise", "pulls") else 0))
            - (engine - outside[second]) / (engine_s * 12)
        )
        exhaust += ({"idle": 220, "cruise": 330, "pulls": 520, "off": outside[second]}[at] - exhaust) / (
            exhaust_s if at != "off" else 4 * exhaust_s
        )
        rise = bay_moving if at in ("cruise", "pulls") else bay_idle * (0.75 if fan else 1.0) * gust[second] ** -0.5
        if at == "off":
            aim = outside[second] + 0.6 * (engine - outside[second]) + 0.03 * (exhaust - outside[second])
        else:
            aim = outside[second] + rise * min(engine / 90, 1.15)
        bay += (aim - bay) / bay_s
        pump += (0.5 * bay + 0.35 * engine + 0.15 * fuel_pump - pump) / pump_s / 3
        flange += (0.6 * bay + 0.4 * engine * 0.95 - flange) / flange_s / 3
        tank += (outside[second] + 4 - tank) / 5000
        if flow:
            fuel_pump += (tank + to_pump * (pump - tank) / flow**0.6 - fuel_pump) * min(flow / 45, 0.5)
            fuel_inlet += (fuel_pump + to_inlet * (flange - fuel_pump) / flow**0.6 - fuel_inlet) * min(flow / 30, 0.5)
        else:
            fuel_pump += (pump - fuel_pump) / 260
            fuel_inlet += (flange - fuel_inlet) / 220
        rows.append((tank, fuel_pump, fuel_inlet))
    degc = np.array(rows)
    lag = 1 - np.exp(-1 / draw.uniform(1, 4))
    degc = lfilter([lag], [1, lag - 1], degc, axis=0, zi=np.array([degc[0] * (1 - lag)]))[0]
    pressure = np.full(count, draw.uniform(88, 101.3)) + 0.05 * _wander(draw, count, 900)
    measured = {place: degc[:, column] + _sensor(draw, count) for column, place in enumerate(PLACES)}
    gauge = np.where(running == 1, 37.0, 0.0)
    gauge = lfilter([0.02], [1, -0.98], gauge) if draw.random() < 0.5 else gauge
    return _drive(car, measured, running, pressure, gauge, np.where(running == 1, 1500.0, 0.0))


def _drive(
    car: Car, degc: dict[str, np.ndarray], running: np.ndarray, ambient_kpa: np.ndarray, gauge_kpa: np.ndarray, rpm: np.ndarray
) -> Drive:
    fuel = car.fuel()
    seconds = np.arange(len(running), dtype=float)
    conditions = Conditions(
        ambient_pressure_kpa=ambient_kpa, running=running, engine_rpm=rpm, fuel_pressure_kpa=np.maximum(gauge_kpa, 0.0), ignition=running, time_s=seconds
    )  # fmt: skip
    try:
        found = margins(car, fuel, degc, conditions)
    except InputError as error:
        raise AssertionError(f"a drive of this trial has no margins: {error}") from error
    return Drive(seconds, running, degc, found.places, car, fuel, rpm)


def _wander(draw: np.random.Generator, count: int, memory_s: float) -> np.ndarray:
    """Noise of standard deviation 1 with a memory of `memory_s` seconds."""
    keep = np.exp(-1 / memory_s)
    return lfilter([np.sqrt(1 - keep**2)], [1, -keep], draw.standard_normal(count + int(4 * memory_s)))[-count:]


def _sensor(draw: np.random.Generator, count: int) -> np.ndarray:
    return 0.15 * _wander(draw, count, 20) + 0.06 * draw.standard_normal(count)
