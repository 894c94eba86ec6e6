"""Drives as the simulated driver makes them, one value a second, with engine speed and ignition disturbed in known ways, and the truth."""

import numpy as np
from hotfuel.simulator.drives import Engine, Phase, drive

FIRED_RPM = 480  # 0.6 of an idle of 800
EDGE_S = 3


def made(seed, death_s=(15, 90)):
    """(rpm, ignition, deaths): a drive with two stops and, with the ignition on, up to three times that the engine dies and is
    cranked again. deaths: (first silent second, first second running again, whether the speed fell over a second); by chance all
    three are abrupt or none is."""
    rng = np.random.default_rng(seed)
    parts = [
        Phase("cold start", 1.5, "idle"),
        Phase("town", rng.uniform(3, 6), "town", 55.0),
        Phase("hill", rng.uniform(2, 5), "cruise", 62.0, climb_m=150.0),
        Phase("pulls", 2.8, "pulls", 70.0),
        Phase("queue", rng.uniform(2, 5), "idle"),
        Phase("soak", rng.uniform(4, 12), "off"),
        Phase("restart", 1.0, "idle"),
        Phase("drive on", rng.uniform(3, 6), "cruise", 60.0),
        Phase("fuel", rng.uniform(1, 4), "off"),
        Phase("home", 3.0, "town", 50.0),
    ]
    profile = drive(parts, Engine(), rng)
    count = len(profile.engine_rpm) // 4
    rpm = profile.engine_rpm[: 4 * count].reshape(-1, 4).mean(axis=1)
    ignition = profile.ignition[: 4 * count : 4].astype(float)
    deaths = []
    for _ in range(200):
        length, first = int(rng.integers(*death_s)), int(rng.integers(60, count - 200))
        around = slice(first - 40, first + length + 45)
        free = (
            ignition[around].all()
            and (rpm[around] >= FIRED_RPM).all()
            and all(abs(first - other) > 200 for other, _, _ in deaths)
        )
        if free and len(deaths) < 3:
            fell = bool(rng.random() < 0.5)
            rpm[first : first + length] = 0
            if fell:
                rpm[first] = rng.uniform(150, 400)
            rpm[first + length - 3 : first + length] = 180
            deaths.append((first, first + length, fell))
    return rpm, ignition, deaths


def disturbed(rpm, ignition, how, seed):
    """ "silent": a fifth of the seconds without pulses; "missing": without a value; "noise": pulses of any speed in a tenth of the seconds with the
    ignition off; "silent and noise"."""
    rng = np.random.default_rng(seed)
    rpm = rpm.copy()
    if "silent" in how or how == "missing":
        rpm[rng.random(len(rpm)) < 0.2] = np.nan if how == "missing" else 0.0
    if "noise" in how:
        hit = (ignition == 0) & (rng.random(len(rpm)) < 0.1)
        rpm[hit] = rng.uniform(60, 6000, np.count_nonzero(hit))
    return rpm


def edges(running):
    """(starts, stops): first seconds of running and of standing."""
    steps = np.diff(np.concatenate([[0], running.astype(int), [0]]))
    return np.flatnonzero(steps == 1), np.array([at for at in np.flatnonzero(steps == -1) if at < len(running)])


def paired(wanted, found):
    """True if every one has a counterpart within EDGE_S in the other list."""
    return len(wanted) == len(found) and bool((np.abs(np.sort(wanted) - np.sort(found)) <= EDGE_S).all())


def seen(death, running):
    """True if both ends of a death are found."""
    starts, stops = edges(running)
    return bool((np.abs(stops - death[0]) <= EDGE_S).any() and (np.abs(starts - death[1]) <= EDGE_S).any())
