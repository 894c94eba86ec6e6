"""Pulls whose true gain and drift are known."""

import numpy as np
from hotfuel.study.power.pulls import Pull

RPM = np.arange(2500, 6501, 50.0)
BASE_KW = 150 * np.exp(-(((RPM - 5500) / 3500) ** 2))


def pull(name, gain_percent=0.0, *, rng=None, spread=0.3, rpm=RPM, **optional):
    """One pull; gain_percent: a number, or an array over rpm."""
    level = 1.0 if rng is None else 1 + rng.normal(0, spread) / 100
    ripple = 1.0 if rng is None else 1 + rng.normal(0, 0.1, len(rpm)) / 100
    kw = np.interp(rpm, RPM, BASE_KW) * (1 + np.asarray(gain_percent) / 100) * level * ripple
    return Pull(name, rpm, kw, kw * 1000 / (rpm * 2 * np.pi / 60), **optional)


def sides(gain, count, seed=1, spread=0.3, baseline=None, variant=None):
    """Pulls numbered as they were driven: w0 c1 c2 w3 w4 c5 ..."""
    rng = np.random.default_rng(seed)
    return {
        "warm": [pull(f"w{2 * i + i % 2}", rng=rng, spread=spread, **(baseline or {})) for i in range(count)],
        "cool": [pull(f"c{2 * i + 1 - i % 2}", gain, rng=rng, spread=spread, **(variant or {})) for i in range(count)],
    }


def drifting(gain, order, percent_a_pull, spread=0.05, seed=1, names=str):
    """Pulls of "warm" and "cool" in an order such as "wccw", each later one changed by so much; named by `names` of "w0", "c1" ..."""
    rng = np.random.default_rng(seed)
    groups = {"warm": [], "cool": []}
    for at, letter in enumerate(order):
        one = pull(names(f"{letter}{at}"), gain if letter == "c" else 0.0, rng=rng, spread=spread)
        level = 1 + percent_a_pull * at / 100
        groups["warm" if letter == "w" else "cool"].append(Pull(one.name, one.rpm, one.power_kw * level, one.torque_nm * level))
    return groups
