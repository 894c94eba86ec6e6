"""Hot soaks for trials, with physics that the forecaster's model lacks. Shared by bench_soak.py and the test of the forecasts.

Five bodies that exchange heat: exhaust manifold, engine block with coolant, under-bonnet air, the place's metal, and its fuel.
Block and manifold heat the bonnet's air and, by conduction and radiation, the metal; wind varies and blows through the bonnet; a
fan may run on for some minutes; above its bubble point fuel takes 2.8 times the heat per degree (own calculation on a summer
gasoline) and loses vapour, so that its temperature stays on a plateau. Every value is drawn at random for each soak. None of this
is published; orders of magnitude from common practice.
"""

from dataclasses import dataclass

import numpy as np

STEP_S = 2.0
LENGTH_S = 3600.0


@dataclass(frozen=True)
class Soak:
    time_s: np.ndarray
    truth_degc: np.ndarray
    read_degc: np.ndarray
    air_degc: float
    boils_degc: float


def soaks(count: int, seed: int, idle: bool = False) -> list[Soak]:
    """`count` independent soaks (or, with `idle`, engines that keep idling) of different cars, places and days."""
    draw = np.random.default_rng(seed)
    n = count

    def about(value: float, spread: float) -> np.ndarray:
        return value * np.exp(spread * draw.standard_normal(n))

    air = draw.uniform(8, 38, n)
    block = draw.uniform(82, 102, n)
    manifold = draw.uniform(180, 420, n)
    bonnet = air + draw.uniform(12, 35, n)
    fuel = air + draw.uniform(4, 28, n)
    metal = fuel + draw.uniform(0, 15, n)
    block_s, manifold_s = about(5400, 0.3), about(700, 0.3)  # how fast block and manifold cool by themselves
    # what they add to the under-bonnet air per degC of their own
    block_share, manifold_share = about(0.75, 0.25), about(0.035, 0.5)
    # under-bonnet air to metal; block to metal by conduction, the second path
    to_metal, contact_s = (
        about(1 / 900, 0.4),
        about(1100, 0.4),
    )
    film_s = about(240, 0.4)  # metal to fuel
    boils = draw.uniform(44, 66, n)
    wind, fan_until = np.zeros(n), np.where(draw.random(n) < 0.35, draw.uniform(60, 480, n), 0.0)
    calm = draw.uniform(0.0, 0.5, n)
    steps = int(LENGTH_S / STEP_S)
    path = np.empty((n, steps))
    for step in range(steps):
        time = step * STEP_S
        path[:, step] = fuel
        # wind: an autocorrelated random value with a memory of three minutes
        wind += STEP_S * (-wind / 180) + np.sqrt(2 * STEP_S / 180) * draw.standard_normal(n)
        blown = 1 + calm * np.maximum(wind, 0) + np.where(time < fan_until, 1.2, 0.0)
        if not idle:
            block = block - STEP_S * (block - air) / block_s * blown
            manifold = manifold - STEP_S * (manifold - bonnet) / manifold_s
        aim = air + (block_share * (block - air) + manifold_share * (manifold - air)) / blown
        bonnet = bonnet + STEP_S * (aim - bonnet) / 90
        metal = metal + STEP_S * (
            (bonnet - metal) * to_metal * blown**0.3 + (block - metal) / contact_s * 0.4 - (metal - fuel) / 900
        )
        taken = np.where(fuel > boils, 2.8, 1.0)
        cooled = np.where(fuel > boils, (fuel - boils) / 500, 0.0)  # vapour that leaves carries heat away
        exchange = (metal - fuel) / film_s
        if idle:
            exchange = exchange - (fuel - air - 3) / 500  # fresh fuel from the tank
        fuel = fuel + STEP_S * (exchange / taken - cooled)
    times = np.arange(steps) * STEP_S
    lag_s = draw.uniform(0.5, 4, n)
    wander = np.zeros(n)
    read = np.empty_like(path)
    follow = path[:, 0].copy()
    for step in range(steps):
        follow += (path[:, step] - follow) * (1 - np.exp(-STEP_S / lag_s))
        wander += STEP_S * (-wander / 40) + 0.08 * np.sqrt(2 * STEP_S / 40) * draw.standard_normal(n)
        read[:, step] = follow + wander + 0.05 * draw.standard_normal(n)
    return [Soak(times, path[i], read[i], float(air[i]), float(boils[i])) for i in range(n)]
