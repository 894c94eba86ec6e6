"""Runs whose true difference is known."""

from hotfuel.study.fixes.summaries import MARGIN, Cell, Run

SOAK = Cell(MARGIN, "pump", "hot soak")


def run(variant, value, number, *, session=None, **conditions):
    values = value if isinstance(value, dict) else {SOAK: value}
    given_values = {"ambient_degc": 25.0, "duration_s": 1800.0, "start_s": 3600.0 * number} | conditions
    return Run(f"{variant} {number}", variant, session or f"session {number}", values, {}, **given_values)


def sides(before, after, **conditions):
    pairs = [(v, x) for pair in zip(before, after, strict=True) for v, x in zip(("before", "after"), pair, strict=True)]
    return [run(variant, value, number, **conditions) for number, (variant, value) in enumerate(pairs)]


def on_days(plan, values):
    """Runs of a plan such as ("aab", "b"): one word a day, one letter a run, one value for each."""
    left = iter(values)
    return [
        run(letter, next(left), 24 * day + hour, session=f"file {day} {hour}", day=f"2026-06-{day + 1:02}")
        for day, letters in enumerate(plan)
        for hour, letter in enumerate(letters)
    ]
