"""A fix that helps and does not cure: where runs were still beyond their limit is said at once, on terminal, card and paper."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from hotfuel.report import compare_words
from hotfuel.study.drive.phases import DRIVE, PULL, SOAK
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.fitted import parse
from hotfuel.study.fixes.summaries import Beyond

sys.path.insert(0, str(Path(__file__).parent))
from test_fitted import SI, asked, runs


def test_a_help_that_is_no_cure_says_so_at_once():
    """A sleeve took 8 degC off the carburettor's inlet, the first sentence; that both places still boiled stood in the third paragraph."""
    made = runs({"a": (60, -30, -25), "b": (52, -20, -12)}, spread=0.5)
    # as driven, not as brought to common conditions: of the worst run, and a pressure that left no limit is worse than any
    own = {
        0: (Beyond("carb_inlet", PULL, -8.0), Beyond("carb_inlet_needle", PULL, -20.0)),
        2: (Beyond("carb_inlet", SOAK, -21.0), Beyond("pump", SOAK, -12.0)),
    }
    made = [replace(one, beyond=own.get(int(one.name[-1]), ()) if one.variant == "b" else ()) for one in made]
    result = replace(compare_runs(made, "a", questions=asked("b")), fitted={"b": parse("sleeve").said})
    assert [(one.variant, one.place, one.phase, one.margin_degc) for one in result.still_beyond] == [
        ("b", "carb_inlet", SOAK, -21.0),
        ("b", "pump", SOAK, -12.0),
    ]
    said = compare_words.finding(result, SI)
    still = said.index(
        "But with b, the fuel was still beyond its limit at the carb inlet (hot soak, by up to 21 °C) "
        "and at the pump (hot soak, by up to 12 °C)."
    )
    assert said.index("With b, the fuel at the carb inlet") < still < said.index("further from boiling")
    assert any("still beyond its limit at the carb inlet" in one for one in compare_words.headlines(result, None, SI))
    only = compare_words.headlines(result, None, SI, ["carb_inlet"])
    assert any("still beyond its limit at the pump" in one for one in only) and "limit at the carb inlet" not in " ".join(only)
    assert compare_words.next_steps(result, None, ())[0] == (
        "What helped is not enough: the fuel was still beyond its limit at the carb inlet and at the pump; treat that next."
    )
    made[-1] = replace(made[-1], beyond=(Beyond("pump", DRIVE, np.nan),))
    worst = compare_runs(made, "a", questions=asked("b")).still_beyond[0]
    assert (worst.place, worst.phase) == ("pump", DRIVE)
    assert "at the pump (drive, the pressure there left no limit)" in compare_words.finding(
        compare_runs(made, "a", questions=asked("b")), SI
    )


def test_nothing_is_said_to_be_still_beyond_where_it_is_not_or_where_nothing_helped():
    helped = runs({"a": (60, -30, -25), "b": (52, 20, 18)}, spread=0.5)
    assert not compare_runs(helped, "a", questions=asked("b")).still_beyond
    made = [
        replace(one, beyond=(Beyond("pump", SOAK, -12.0),))
        for one in runs({"a": (60, -30, -25), "b": (60.2, -30, -25)}, spread=0.5)
    ]
    result = compare_runs(made, "a", questions=asked("b"))
    assert not result.still_beyond and "still beyond" not in compare_words.finding(result, SI)
