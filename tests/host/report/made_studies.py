"""Runs and pulls with known results, for the pages of comparisons."""

import numpy as np
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell, Filled, Run
from hotfuel.study.power.pulls import Pull

HOT_SOAK, DRIVE = Cell(MARGIN, "pump", "hot soak"), Cell(PEAK, "tank", "drive")


def runs(count=6):
    """Alternating runs of a bare car and one with a sleeve <b>; with the sleeve the margin is 8 degC larger."""
    spread = (0.3, -0.4, 0.1, 0.5, -0.2, 0.0)
    return [
        Run(
            f"run {number}", "sleeve <b>" if number % 2 else "bare", f"s{number}",
            {HOT_SOAK: (5.0 if number % 2 else -3.0) - spread[number % 6], DRIVE: 35.0 + spread[-number % 6]}, {},
            start_s=1e9 + 1000 * number, ambient_degc=24.0, ambient_pressure_kpa=94.5, fuel=Filled("A"), car="Blue saloon",
        )
        for number in range(count)
    ]  # fmt: skip


def pulls():
    rpm = np.linspace(2500, 6500, 81)
    rise = np.sin((rpm - 1500) / 5500 * np.pi / 2)

    def pull(name, factor):
        kw = (60 + 120 * rise) * factor
        return Pull(name, rpm, kw, kw * 1000 / (rpm * np.pi / 30))

    return {
        "bare": [pull(f"b{n}", 1 + 0.001 * n) for n in range(4)],
        "sleeve <b>": [pull(f"s{n}", 1.012 + 0.001 * n) for n in range(4)],
    }
