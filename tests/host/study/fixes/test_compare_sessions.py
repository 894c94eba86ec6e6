"""A few comparisons of whole recordings through the command line; the full table is printed by tests/bench/bench_compare_sessions.py."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[3] / "bench"))
import bench_compare_sessions as bench


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "count", "most_false"),
    [
        # At 5 %, one false in six is rare; an analysis that overlooks the point of a case has nearly all of them false.
        ("more stops for one side", 4, 1),
        ("not stated and warm starts", 6, 2),
        ("stated for one side", 6, 2),
        ("one day a side", 6, 0),
    ],
)
def test_no_difference_is_seldom_reported_as_one(case, count, most_false):
    kept, _, _ = bench.trials(case, 0.0, count)
    assert kept["refused"] == 0
    assert kept["false"] <= most_false
    assert kept["false further"] <= most_false


def test_a_switch_followed_slowly_is_found_at_its_full_size():
    kept, width, _ = bench.trials("switched on the way", -5.0, 4)
    assert kept["held"] >= 3  # from the state two minutes after each switch alone, no interval contained the truth
    assert width < 2.5
