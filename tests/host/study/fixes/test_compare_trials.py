"""A short version of the acceptance trials; the full table is printed by tests/bench/bench_compare_trials.py."""

import importlib.util
from pathlib import Path

import pytest

_FILE = Path(__file__).parents[3] / "bench" / "bench_compare_trials.py"
_SPEC = importlib.util.spec_from_file_location("bench_compare_trials", _FILE)
bench = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(bench)

REPORTS = 300


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "runs_a_side", "sd"), [("plain", 2, 2.0), ("heavy tails", 3, 2.0), ("drift", 4, 0.5), ("unequal lengths", 6, 2.0)]
)
def test_intervals_hold_and_reports_are_rarely_false(kind, runs_a_side, sd):
    coverage, false, _, ratio, _ = bench.trial(kind, runs_a_side, sd, REPORTS)
    # Bounds of the full trials, widened by three standard errors of 300 reports (1.3 %).
    assert 0.935 - 0.038 <= coverage <= (0.99 if runs_a_side == 2 else 0.97) + 0.03
    assert false <= 0.06 + 0.038
    assert ratio <= 1.15


def test_the_trial_can_fail():
    """Treating every run's samples as independent, as a careless analysis would, must be caught by these bounds."""
    import numpy as np

    random = np.random.default_rng(1)
    covered = 0
    for _ in range(REPORTS):
        runs, truth = bench.one_report(random, "plain", 3, 2.0)
        sides = [np.array([r.values[bench.PRIMARY] for r in runs if r.variant == name]) for name in ("before", "changed")]
        # each run counted as ten independent blocks
        many = [np.repeat(side, 10) for side in sides]
        error = np.sqrt(sum(side.var(ddof=1) / len(side) for side in many))
        covered += abs(many[1].mean() - many[0].mean() - truth[bench.PRIMARY]) <= 1.96 * error
    assert covered / REPORTS < 0.6
