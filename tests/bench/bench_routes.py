"""No jump anywhere: data sheets scanned along each of their figures over the accepted domain, in steps of 0.1 kPa, 0.2 degC and 0.1 vol-%.

    python tests/bench/bench_routes.py            ten minutes of processor time; --minutes 90 for all of it

Vapour pressure is scanned for several contents of ethanol, ethanol for several vapour pressures, each with many distillations at
once; T10, T50 and T90 by themselves on sheets drawn at random. A step between two accepted sheets may move T(V/L=20) by 0.3 degC
at most, and at every tenth sheet that raises no question, leaving out one figure must never reduce the uncertainty. Lines are
taken in random order until all are done or the time is up; the share done is printed. Whole fuels, as limits use them, are
stepped at other pressures and V/L, half as many as there are distillations. Exit code 1 if a step is larger, or if less
information gives less uncertainty.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel, routes
from hotfuel.fuel.measurements import FITTED, Measurements
from hotfuel.fuel.questions import OFF, beyond_any_gasoline, furthest
from hotfuel.fuel.usual import usual

MOST_DEGC = 0.3
STEP = {"vapour_pressure_kpa": 0.1, "t10_degc": 0.2, "t50_degc": 0.2, "t90_degc": 0.2, "ethanol_vol": 0.1}
SPAN = {
    "vapour_pressure_kpa": (7, 130),
    "t10_degc": (20, 110),
    "t50_degc": (40, 160),
    "t90_degc": (70, 230),
    "ethanol_vol": (0, 100),
}
_CUTS = ("t10_degc", "t50_degc", "t90_degc")
CELLS = ((101.325, 20.0), (80.0, 20.0), (101.325, 4.0), (40.0, 20.0))


def t_vl20_degc(data: Measurements) -> float:
    """The fuel's value; nan for a sheet that is refused."""
    try:
        data.check()
        ordinary = usual(data.vapour_pressure_kpa, data.ethanol_vol)
        if beyond_any_gasoline(data, ordinary):
            return np.nan
        return routes.route(data, ordinary).t_vl20_degc
    except InputError:
        return np.nan


def surer_without(data: Measurements) -> tuple[int, float]:
    """(how many figures were left out of a sheet that raises no question, the largest reduction of the uncertainty by that, degC)."""
    if np.isnan(t_vl20_degc(data)):
        return 0, 0.0
    ordinary = usual(data.vapour_pressure_kpa, data.ethanol_vol)
    if furthest(data, ordinary)[1].off > OFF:
        return 0, 0.0
    whole = routes.route(data, ordinary).sigma_degc
    less = [
        routes.route(Measurements(**{**vars(data), name: None}), ordinary).sigma_degc
        for name in FITTED
        if getattr(data, name) is not None
    ]
    return len(less), max([0.0, *(whole - sigma for sigma in less)])


def distillations(rng: np.random.Generator, number: int) -> list[tuple[float | None, float | None, float | None]]:
    """(T10, T50, T90) of every kind in combination, some left out."""
    found = []
    for _ in range(number):
        t10 = rng.uniform(28, 95)
        t50 = max(rng.uniform(57, 138), t10 + 3)
        t90 = max(rng.uniform(100, 205), t50 + 3)
        keep = rng.random(3) < 0.85
        found.append(tuple(float(value) if kept else None for value, kept in zip((t10, t50, t90), keep, strict=True)))
    return found


@dataclass(frozen=True)
class Group:
    """Lines of sheets along one figure, one for each distillation; they share their ordinary gasolines, which stay cached."""

    figure: str
    values: tuple[float, ...]
    vapour_pressure_kpa: float
    ethanol_vol: float
    distillations: list[tuple[float | None, float | None, float | None]]

    def lines(self) -> Iterator[list[Measurements]]:
        """The sheets along the figure in steps, one line after the other."""
        for sheet in self.distillations:
            whole = {
                "vapour_pressure_kpa": self.vapour_pressure_kpa,
                "ethanol_vol": self.ethanol_vol,
                **dict(zip(_CUTS, sheet, strict=True)),
            }
            yield [Measurements(**{**whole, self.figure: value}) for value in self.values]


def groups(rng: np.random.Generator, sheets: int, every: int) -> list[Group]:
    """All groups to scan."""
    many, found = distillations(rng, sheets), []

    def along(figure: str) -> tuple[float, ...]:
        low, high = SPAN[figure]
        return tuple(np.round(np.arange(low, high + STEP[figure] / 2, STEP[figure]), 6).tolist())

    def pieces(figure: str) -> Iterator[tuple[float, ...]]:
        whole = along(figure)
        for start in range(0, len(whole) - 1, 50):
            yield whole[start : start + 51]

    for ethanol in (0.0, 0.3, 3.0, 7.0, 10.0, 15.0, 22.0, 51.0, 85.0)[::every]:
        found += [Group("vapour_pressure_kpa", piece, 0.0, ethanol, many) for piece in pieces("vapour_pressure_kpa")]
    for kpa in (60.0, 25.0, 36.0, 48.0, 75.0, 95.0)[::every]:
        found += [Group("ethanol_vol", piece, kpa, 0.0, many) for piece in pieces("ethanol_vol")]
    contents = rng.choice([0, 0, 1, 4, 8, 10, 14, 19, 30, 85], 150)
    for kpa, vol in list(zip(rng.uniform(7, 112, 150).tolist(), contents.tolist(), strict=True))[::every]:
        found += [Group(figure, along(figure), kpa, float(vol), many[place::3]) for place, figure in enumerate(_CUTS)]
    return found


def worst_of_whole_fuels(rng: np.random.Generator, number: int) -> float:
    """The largest change of a limit over single steps of accepted sheets, degC."""
    worst, tried = 0.0, 0
    while tried < number:
        sheet = Measurements(float(rng.uniform(30, 100)), *distillations(rng, 1)[0], float(rng.choice([0, 0.4, 5, 10, 19.9])))
        figure = str(rng.choice(list(STEP)))
        value = getattr(sheet, figure)
        if value is None or np.isnan(t_vl20_degc(sheet)):
            continue
        stepped = Measurements(**{**vars(sheet), figure: value + STEP[figure]})
        try:
            here, there = (
                Fuel.from_measurements(**{name: figure for name, figure in vars(one).items() if name != "ethanol_given"})
                for one in (sheet, stepped)
            )
        except InputError:
            continue
        tried += 1
        for kpa, ratio in CELLS:
            move = abs(float(there.limit_degc(kpa, ratio) - here.limit_degc(kpa, ratio)))
            if move > worst:
                worst = move
                if move > MOST_DEGC:
                    print(f"  {move:.2f} degC at {kpa:g} kPa, V/L {ratio:g}: {figure} of {sheet}", flush=True)
    return worst


def main() -> int:
    """Print the largest step of each figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sheets", type=int, default=200)
    parser.add_argument("--every", type=int, default=1, help="take every Nth ethanol content, vapour pressure and pair of both")
    parser.add_argument(
        "--minutes", type=float, default=10, help="of processor time for the lines; then it stops with the results so far"
    )
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    worst: dict[str, tuple[float, Measurements | None]] = dict.fromkeys(STEP, (0.0, None))
    steps = dict.fromkeys(STEP, 0)
    left_out, surer, surest = 0, 0.0, None
    every, done = groups(rng, asked.sheets, asked.every), 0
    for i in rng.permutation(len(every)):
        if time.process_time() > 60 * asked.minutes:
            break
        done += 1
        figure = every[i].figure
        for line in every[i].lines():
            moves = np.abs(np.diff([t_vl20_degc(data) for data in line]))
            steps[figure] += int(np.isfinite(moves).sum())
            for data in line[::10]:
                count, by = surer_without(data)
                left_out += count
                if by > surer:
                    surer, surest = by, data
            if np.isfinite(moves).any() and np.nanmax(moves) > worst[figure][0]:
                worst[figure] = float(np.nanmax(moves)), line[int(np.nanargmax(moves))]
    print(f"{done} of {len(every)} groups of lines, {asked.sheets} distillations, seed {asked.seed}", flush=True)
    for figure, (move, where) in worst.items():
        print(f"{figure}: {steps[figure]:,} steps, the largest {move:.3f} degC, at {where}", flush=True)
    whole = worst_of_whole_fuels(rng, asked.sheets // 2)
    print(f"whole fuels, four cells: {asked.sheets // 2} steps, the largest {whole:.3f} degC")
    print(
        f"a figure left out {left_out:,} times: the limit's uncertainty smaller by at most {surer:.6f} degC{f', at {surest}' if surest else ''}"
    )
    return int(surer > 1e-6 or max(whole, *(move for move, _ in worst.values())) > MOST_DEGC)


if __name__ == "__main__":
    sys.exit(main())
