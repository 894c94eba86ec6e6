"""A fuel line for trials, with physics that the models of the forecasts and the heat budget lack: many cars at once, every value
drawn at random for each.

Fuel passes a row of stirred cells (no plug flow), a pump of two chambers with a separate body between block and bonnet air, a
hose beside the exhaust and a bowl on the manifold; a return goes back into a tank that follows the air. Above its bubble point
fuel takes two to three and a half times the heat per degree, and carries it along. Orders of magnitude from common practice, not
published. The heat that enters is recorded by section and by path, so that budgets are known exactly.
"""

from dataclasses import dataclass

import numpy as np

LENGTH_S = 1980
J_L_K = 740 * 2.1  # of a litre and degree
IDLE, DRIVE, PULL, STOP = range(4)
RPM = np.array([800.0, 2200.0, 2200.0, 0.0])
L_H_RPM = 12.65 / 2000  # the product's estimate for a 5 L engine, which these cars burn within a factor
ONSET_95_KPA, ONSET_PER_KPA = 53.0, 0.36  # bubble point of a summer gasoline near the air's pressure
WINTER_ONSET_DEGC = -13.0


@dataclass
class Runs:
    """Arrays (LENGTH_S, n) by name: degc of places, litres_h, rpm, gauge_kpa, kind, and heat_w by path."""

    kept: dict
    cars: dict


def cars(count, seed):
    """The values of `count` cars and days."""
    draw = np.random.default_rng(seed)

    def between(least, most):
        return draw.uniform(least, most, count)

    def about(value, spread):
        return value * np.exp(spread * draw.standard_normal(count))

    return {
        "air": between(18, 36), "burn": about(1.0, 0.25), "full_l_h": about(66.0, 0.1), "bay_drive": between(8, 20), "bay_idle": between(22, 42),
        "bay_share": between(0.45, 0.75), "exhaust": between(250, 420), "v1": between(0.10, 0.20), "ua1": between(0.3, 1.2), "under1": between(0.2, 0.6),
        "pump_block": between(0.5, 2.0),
        "pump_air": between(0.5, 2.5), "pump_film": between(3, 9), "v2": between(0.05, 0.12), "ua2": between(0.4, 1.2),
        "rad2": between(0.008, 0.04), "film_exponent": between(0.0, 0.4),
        "bowl_metal": between(1.0, 3.0), "bowl_air": between(0.8, 2.0), "bowl_l": between(0.18, 0.3),
        "tank_l": between(12, 55), "tank_wall_h": between(0.8, 2.5), "tank_over": between(0.0, 3.0),
        "tank_exhaust_w": between(0, 120), "start_rise": between(0, 4),
        "return_l_h": np.zeros(count), "return_lost": between(0.05, 0.4), "boil": between(2.2, 3.5), "onset_off": draw.normal(0, 1.0, count),
        "cooler_w_k": np.zeros(count), "cooler_exponent": between(0.1, 0.7), "coolant_over": between(0, 8),
        "ice_kg": np.zeros(count), "ice_w_k": np.zeros(count),
        "ice_wall": between(0.6, 2.8), "electric_w": np.zeros(count), "tank_pump": np.zeros(count, bool),
        "kpa": np.full(count, 97.8), "fuel_off": np.zeros(count),
        "warm_up": between(300, 700), "drive_s": between(420, 620).round(), "queue_s": between(220, 380).round(), "stop_s": between(280, 400).round(),
        "wander": draw.integers(0, 2**31, count), "old_place": between(0.03, 0.3), "cooler_at": draw.integers(0, 6, count),
        # a session may begin with a car that has stood cold: for so many seconds, with the places differing by so much
        "cold_s": np.zeros(count), "cold_tank": draw.normal(0, 0.3, count), "cold_line": draw.normal(0, 0.15, (count, 3)),
        # effects of another day, altitude or tank of fuel besides the change asked for: sun, wind and road; the altitude rule;
        # the batch of fuel
        "day": draw.normal(0, 0.03, count), "height_off": draw.normal(0, 0.06, count), "winter_off": draw.normal(0, 0.9, count),
    }  # fmt: skip


def changed(base, **values):
    """The same cars with other values."""
    return {**base, **{name: np.broadcast_to(value, base[name].shape).copy() for name, value in values.items()}}


def together(*several):
    """Several sets of cars as one."""
    return {name: np.concatenate([one[name] for one in several]) for name in several[0]}


def driven(p):
    """(kind, seconds into a pull) of each second and car, (LENGTH_S, n)."""
    t = np.arange(LENGTH_S)[:, None] - p["cold_s"]
    edges = np.cumsum([np.full_like(p["drive_s"], 60), p["drive_s"], np.full_like(p["drive_s"], 150), p["queue_s"], np.full_like(p["drive_s"], 120),
                       p["stop_s"], np.full_like(p["drive_s"], 50)], axis=0)  # fmt: skip
    kinds = np.array([IDLE, DRIVE, PULL, IDLE, DRIVE, STOP, IDLE, DRIVE])
    part = np.sum(t[None] >= edges[:, None, :], axis=0)
    kind = np.where(t < 0, STOP, kinds[part])
    into = t - np.where(part == 2, edges[1], 0)
    pulling = (kind == PULL) & (into % 50 < 12)
    return np.where((kind == PULL) & ~pulling, DRIVE, kind), np.where(pulling, into % 50, 0)


def march(p):
    """Simulate every second of every car."""
    n = len(p["air"])
    kind, into = driven(p)
    rpm = RPM[kind] + np.where(kind == PULL, 2800 * into / 12, 0.0)
    burn = np.where(kind == PULL, p["full_l_h"] * rpm / 5000, L_H_RPM * rpm * p["burn"])
    mood = np.stack([np.random.default_rng(seed).standard_normal(LENGTH_S // 20 + 2) for seed in p["wander"]], axis=1)
    mood = np.stack([np.interp(np.arange(LENGTH_S) / 20, np.arange(len(mood)), mood[:, k]) for k in range(n)], axis=1)
    rpm, burn = (np.where(kind == DRIVE, x * (1 + 0.08 * mood), x) for x in (rpm, burn))
    air, bay, block, exhaust = p["air"], p["air"] + 12, np.full(n, 60.0), p["air"] + 150
    tank = air + p["start_rise"]
    body = air + 22.0
    one, two = np.tile(tank + 3, (4, 1)), np.tile(tank + 6, (6, 1))
    chamber, leaving, bowl = tank + 5, tank + 6, tank + 8
    if p["cold_s"].any():  # of all cars or of none
        air_of = lambda here: air + p["cold_line"][:, here]  # noqa: E731
        bay, block, exhaust, body, tank = air + 0.0, air + 0.0, air + 0.0, air + 0.0, air + p["cold_tank"]
        one, two = np.tile(air_of(0), (4, 1)), np.tile(air_of(1), (6, 1))
        chamber, leaving, bowl = air_of(2), air_of(2), air + 0.0
    gauge = np.zeros(n)
    ice, water = p["ice_kg"] * 333.55e3, np.zeros(n)
    kept = {name: np.empty((LENGTH_S, n)) for name in (
        "tank", "suction", "pump", "pump_out", "carb_inlet", "bowl", "bonnet", "block", "manifold", "litres_h", "gauge_kpa",
        "w_suction_air", "w_pump_block", "w_pump_air", "w_hose_air", "w_hose_exhaust", "w_return")}  # fmt: skip
    kept |= {"rpm": rpm, "kind": kind}
    for s in range(LENGTH_S):
        k = kind[s]
        on, moving = k != STOP, (k == DRIVE) | (k == PULL)
        block = block + np.where(on, (92 - block) / p["warm_up"], -(block - air) / 5400)
        exhaust = exhaust + np.where(on, (air + p["exhaust"] * np.where(moving, 1, 0.75) - exhaust) / 120, -(exhaust - bay) / 700)
        aim = air + np.where(
            moving, p["bay_drive"], np.where(on, p["bay_idle"], p["bay_share"] * (block - air) + 0.03 * (exhaust - air))
        )
        bay = bay + (aim - bay) / np.where(on, 60, 120)
        back = np.where(on, p["return_l_h"], 0.0)
        flow = np.where(on, burn[s] + back, 0.0)
        litres = flow / 3600
        gauge = np.where(on, gauge + (35 - gauge) / 2, gauge * (1 - 1 / 75))
        onset = ONSET_95_KPA + p["onset_off"] + p["fuel_off"]
        onset_in = onset + ONSET_PER_KPA * (p["kpa"] - 95 + np.where(p["tank_pump"], gauge, np.where(on, -3.5, 0.0)))
        onset_line = onset + ONSET_PER_KPA * (p["kpa"] - 95 + gauge) * np.where(gauge > 10, 0.85, 1.0)
        into_h = lambda degc, begins: degc + (p["boil"] - 1) * np.maximum(degc - begins, 0.0)  # noqa: E731
        out_of_h = lambda heat, begins: np.where(heat > begins, begins + (heat - begins) / p["boil"], heat)  # noqa: E731
        faster = np.maximum(flow / 10, 0.2) ** p["film_exponent"]
        # tank to pump
        entering = tank + np.where(on & (flow > 0), p["electric_w"] / np.maximum(litres * J_L_K, 1e-9), 0.0)
        around, w1 = air + p["under1"] * (bay - air), 0.0
        carried = litres * J_L_K
        h = into_h(entering, onset_in)
        for c in range(4):
            cell, ua = p["v1"] / 4 * J_L_K, p["ua1"] / 4 * faster
            taken = ua * (around - one[c])
            w1 = w1 + taken
            h = (cell * into_h(one[c], onset_in) + carried * h + taken) / (cell + carried)
            one[c] = out_of_h(h, onset_in)
        suction = one[3].copy()
        # pump: the same enthalpy after it, at more pressure
        film = p["pump_film"] * (0.25 + 0.75 * (flow / 10) ** 0.6) * ~p["tank_pump"] + 0.5 * p["old_place"] * p["tank_pump"]
        body = np.where(p["tank_pump"], bay, body)  # where the pump was there is now a piece of hose in under-bonnet air
        cell = 0.02 * J_L_K
        into_fuel = film * (body - chamber) * (cell + carried) / (cell + carried + film)
        h = (cell * into_h(chamber, onset_in) + carried * h + into_fuel) / (cell + carried)
        chamber = out_of_h(h, onset_in)
        more = film * (body - leaving) * (cell + carried) / (cell + carried + film)
        h = (cell * into_h(leaving, onset_line) + carried * h + more) / (cell + carried)
        leaving, into_fuel = out_of_h(h, onset_line), into_fuel + more
        from_block, from_air = p["pump_block"] * (block - body), p["pump_air"] * (bay - body)
        body = body + (from_block + from_air - into_fuel) / 900
        # pump to carburettor, with a cooler somewhere in it
        air2, exhaust2, gained = 0.0, 0.0, 0.0
        h = into_h(leaving, onset_line)
        ntu = p["cooler_w_k"] * np.maximum(flow / 10, 0.05) ** p["cooler_exponent"] / np.maximum(carried, 0.05)
        by_ice = -np.expm1(-p["ice_w_k"] / np.maximum(carried, 0.05)) * (p["ice_kg"] > 0)
        for c in range(6):
            here, entering = on & (p["cooler_at"] == c), out_of_h(h, onset_line)
            cooled = entering - np.expm1(-ntu) * np.minimum(air + p["coolant_over"] - entering, 0.0)
            taken = np.where(here, by_ice * np.maximum(cooled - water, 0.0), 0.0)
            gained = gained + taken * carried
            h = np.where(here, into_h(cooled - taken, onset_line), h)
            cell, ua, rad = p["v2"] / 6 * J_L_K, p["ua2"] / 6 * faster, p["rad2"] / 6
            by_air, by_exhaust = ua * (bay - two[c]), rad * (exhaust - two[c])
            air2, exhaust2 = air2 + by_air, exhaust2 + by_exhaust
            h = (cell * into_h(two[c], onset_line) + carried * h + by_air + by_exhaust) / (cell + carried)
            two[c] = out_of_h(h, onset_line)
        gained = gained + p["ice_wall"] * (bay - water) * (p["ice_kg"] > 0)
        over = np.maximum(gained - ice, 0.0)
        ice, water = np.maximum(ice - gained, 0.0), water + over / np.maximum(p["ice_kg"] * 4190, 1.0)
        inlet = two[5].copy()
        used = np.where(on, burn[s], 0.0) / 3600 * J_L_K
        cell = p["bowl_l"] * J_L_K * np.where(bowl > onset + ONSET_PER_KPA * (p["kpa"] - 95), p["boil"], 1.0)
        bowl = (cell * bowl + used * inlet + p["bowl_metal"] * (0.7 * block + 0.3 * bay) + p["bowl_air"] * bay) / (
            cell + used + p["bowl_metal"] + p["bowl_air"]
        )
        returned = back / 3600 * J_L_K * (1 - p["return_lost"]) * (inlet - tank)
        tank_w = (
            p["tank_wall_h"] / 3600 * p["tank_l"] * J_L_K * (air + p["tank_over"] - tank)
            + p["tank_exhaust_w"] * moving
            + returned
        )
        tank = tank + tank_w / (p["tank_l"] * J_L_K)
        block_share = np.clip(from_block / np.where(np.abs(from_block + from_air) > 1e-6, from_block + from_air, 1.0), -3, 3)
        for name, value in (
            ("tank", tank), ("suction", suction), ("pump", chamber), ("pump_out", leaving), ("carb_inlet", inlet),
            ("bowl", bowl), ("bonnet", bay), ("block", block), ("manifold", exhaust),
            ("litres_h", flow), ("gauge_kpa", gauge), ("w_suction_air", w1), ("w_pump_block", into_fuel * block_share),
            ("w_pump_air", into_fuel * (1 - block_share)), ("w_hose_air", air2), ("w_hose_exhaust", exhaust2), ("w_return", returned),
        ):  # fmt: skip
            kept[name][s] = value
    return Runs(kept, p)


def readings(runs, places, seed, u_degc=0.8, lag_s=1.5, sets=1):
    """Readings of the probes, {place: (LENGTH_S, n)}; each probe has its own constant error. sets: the number of sets of
    `together`, read by the same probes with the same errors."""
    draw = np.random.default_rng(seed)
    n = len(runs.cars["air"])
    count = n // sets
    found = {}
    for place in places:
        truth = runs.kept[place]
        read = np.empty_like(truth)
        now, slow = truth[0].copy(), np.zeros(count)
        off = draw.normal(0, u_degc, count)
        for s in range(LENGTH_S):
            now = now + (truth[s] - now) * (1 - np.exp(-1 / lag_s))
            slow = slow * np.exp(-1 / 40) + 0.08 * np.sqrt(2 / 40) * draw.standard_normal(count)
            read[s] = now + np.tile(slow + 0.05 * draw.standard_normal(count), sets)
        found[place] = read + np.tile(off, sets)
    return found
