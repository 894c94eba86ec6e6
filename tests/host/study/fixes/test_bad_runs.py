"""Faults defined in advance exclude a run, and it is named; the run's result never does. Archived pairs and cold readings widen an interval."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import compare_notes, compare_words
from hotfuel.study.drive.phases import PULL
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.bad_runs import overlapping
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.faults import CUT, DEAD, PARKED, Fault, exchanged, outlying, swapped
from hotfuel.study.fixes.fitted import Fitted, questions
from hotfuel.study.fixes.pairs import Pair, pairs_of, step
from hotfuel.study.fixes.summaries import MEAN, Cell, Run
from hotfuel.units import Shown

SI = Shown("si")
CELL = Cell(MEAN, "carb_inlet", PULL)
TANK = Cell(MEAN, "tank", PULL)
ASKED = questions({"b": Fitted("cooler", "carb_inlet")}, ("tank", "carb_inlet"))[0]


def run(variant, number, degc, day=0, **more):
    values = {CELL: degc, TANK: 40 + 0.1 * np.sin(7.0 * number + 3.0 * day)}
    start_s = 86400.0 * day + 3600.0 * number
    return Run(
        f"{variant}{number}",
        variant,
        f"file {variant}{number}",
        values,
        {},
        start_s=start_s,
        ambient_degc=25.0,
        day=f"{day}",
        **more,
    )


def mixed(a=(60, 61, 60.5, 60.2), b=(55, 54.5, 55.4, 55.1)):
    """Alternating sides, one run a day."""
    return [
        run(v, i, degc, day=2 * i + (v == "b"))
        for i, pair in enumerate(zip(a, b, strict=True))
        for v, degc in zip("ab", pair, strict=True)
    ]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(PARKED), "b3 was never driven, and the other runs were: it is left out of every answer."),
        (
            Fault(DEAD, ("carb_inlet",), (PULL,)),
            "b3 did not read carb inlet all through its full-throttle pull: it is left out of every answer there.",
        ),
        (Fault(CUT, (), (PULL,)), "b3 was broken off before its full-throttle pull"),
    ],
)
def test_a_fault_excludes_a_run_and_the_rest_decide(fault, words):
    runs = mixed()
    without = compare_runs(runs[:-1], "a", questions=ASKED)
    runs[-1] = replace(runs[-1], values={TANK: 99.0}, faults=(fault,))
    result = compare_runs(runs, "a", questions=ASKED)
    assert result.answers[0].verdict == verdicts.LOWER
    assert result.answers[0].low_degc == pytest.approx(without.answers[0].low_degc)
    assert any(line.startswith(words) for line in compare_words.bad_runs(result, SI))


def test_a_missing_value_without_a_fault_leaves_no_verdict_and_the_rest_is_shown():
    runs = mixed()
    del runs[-1].values[CELL]
    result = compare_runs(runs, "a", questions=ASKED)
    assert not [a for a in result.answers if a.primary]
    (line,) = compare_words.bad_runs(result, SI)
    assert line.startswith("b3 has no number for it: without it b would be 5.")
    assert "that is no verdict" in line


def test_a_side_needs_two_runs_or_the_question_is_unanswered():
    runs = mixed(a=(60, 61), b=(55, 54))
    runs[-1] = replace(runs[-1], faults=(Fault(PARKED),))
    with pytest.raises(InputError, match="nothing in common|no place and phase in common"):
        compare_runs(runs, "a", questions=ASKED)


def test_an_outlying_run_is_named_and_kept():
    runs = mixed(a=(60, 61, 60.5, 60.2), b=(55, 54.5, 55.4, 75.0))
    result = compare_runs(runs, "a", questions=ASKED)
    assert outlying(runs, CELL) == [runs[-1]]
    assert result.answers[0].difference_degc == pytest.approx(np.mean([55, 54.5, 55.4, 75.0]) - 60.425)
    (line,) = compare_words.bad_runs(result, SI)
    assert line.startswith(
        "b3 lies apart from the other runs of the side and stays in: without it b would be 5.5 °C cooler than a"
    )
    assert not outlying(mixed(), CELL)


def test_swapped_probes_need_every_other_run_to_disagree():
    usual, other = [-8.0, -9.0, -7.5], [-5.0, -4.0]
    assert swapped({"a": [8.5, *usual[1:]], "b": other}, {"a": [0, 1, 2], "b": [3, 4]}) == [0]
    # ice: correctly so, in all runs of its side
    assert swapped({"a": usual, "b": [6.0, 5.0]}, {"a": [0, 1, 2], "b": [3, 4]}) == []
    assert swapped({"a": [8.5], "b": [-5.0]}, {"a": [0], "b": [1]}) == []


def baseline_first(days=6, change=-5.0, warmer=1.6, seed=1):
    random = np.random.default_rng(seed)
    return [
        run(v, i, 60 + random.normal(0, 0.3) + i * (change + warmer), day=day) for day in range(days) for i, v in enumerate("ab")
    ]


def archived(count, warmer=1.6, seed=2):
    random = np.random.default_rng(seed)
    runs = [run("a", i, 60 + random.normal(0, 0.3) + i * warmer, day=100 + day) for day in range(count) for i in range(2)]
    return pairs_of(runs)


def test_archived_pairs_give_a_verdict_to_an_order_that_has_none():
    assert compare_runs(baseline_first(), "a", questions=ASKED).answers[0].verdict == verdicts.NO_VERDICT
    assert compare_runs(baseline_first(), "a", questions=ASKED, archived=archived(7)).answers[0].verdict == verdicts.NO_VERDICT
    result = compare_runs(baseline_first(change=-9.0), "a", questions=ASKED, archived=archived(8))
    assert result.answers[0].verdict == verdicts.LOWER
    assert result.answers[0].low_degc < -9.0 < result.answers[0].high_degc
    assert "widened by 8 archived pairs" in compare_words.method(result.answers[0].estimate)
    assert any("archived pairs" in line for line in compare_words.cautions(result, SI))


def test_a_pair_is_two_runs_of_one_day_with_the_same_parts():
    first, second, third = run("a", 0, 60.0), run("a", 1, 62.0), run("b", 2, 55.0)
    assert pairs_of([third, second, first]) == [Pair(first, second)]
    size, count = step([Pair(first, second)] * 8, CELL)
    assert (size, count) == (2.0, 8)
    assert np.isnan(step([Pair(first, second)] * 7, CELL)[0])


def test_a_probe_that_moved_between_the_sides_widens_the_interval_and_is_reported():
    def cold(degc):
        return {"cold_degc": {"tank": 0.0, "carb_inlet": degc}}

    plain = mixed()
    moved = [replace(r, **cold(-4.0 if r.variant == "b" else 0.0)) for r in plain]
    before, after = (compare_runs(runs, "a", questions=ASKED) for runs in (plain, moved))
    assert before.answers[0].verdict == verdicts.LOWER
    assert after.answers[0].verdict == verdicts.UNDECIDED
    assert any(
        "the probe at the carb inlet read 4.0 °C less beside the others with b than with a" in line
        for line in compare_words.cautions(after, SI)
    )


def test_the_slope_over_outside_air_is_estimated_only_within_the_sides():
    """Hot places follow outside air by half; eight runs over more than 6 degC within the sides show it, a season between the sides does not."""
    random = np.random.default_rng(3)
    air = np.array([20, 24, 28, 30, 21, 23, 27, 31.0])

    def runs(outside):
        return [
            replace(
                run("ab"[i % 2], i, 60 + (0.5 - 0.8) * (outside[i] - 25) + random.normal(0, 0.1), day=i),
                ambient_degc=float(outside[i]),
            )
            for i in range(8)
        ]

    fitted = compare_runs(runs(air), "a", questions=ASKED).answers[0]
    assert "slope over outside air estimated" in compare_words.method(fitted.estimate)
    assert fitted.high_degc - fitted.low_degc < 1.0
    season = compare_runs(runs(np.array([30.0, 20.0] * 4)), "a", questions=ASKED).answers[0]
    assert "slope" not in compare_words.method(season.estimate)
    assert season.high_degc - season.low_degc > 2 * 1.96 * 0.15 * 10 * 0.95


def test_swapped_probes_move_both_places_against_the_other_runs_of_a_side_and_a_forgotten_fix_only_one():
    """Tank at 40 and the last place at 43 as built, at 33 behind an ice can: there the tank is correctly the hotter one."""
    built, iced, number = (40.0, 43.0), (40.0, 33.0), {"a": [0, 1, 2], "b": [3, 4, 5]}
    assert exchanged({"a": [built] * 3, "b": [iced, iced, iced[::-1]]}, number) == [5]
    assert exchanged({"a": [built, built[::-1], built], "b": [iced] * 3}, number) == [1]
    assert exchanged({"a": [built] * 3, "b": [iced, iced, built]}, number) == []
    assert exchanged({"a": [built] * 3, "b": [iced, (37.0, 35.5), iced]}, number) == []  # too close together to decide
    assert exchanged({"a": [built] * 3, "b": [iced, iced[::-1]]}, {"a": [0, 1, 2], "b": [3, 4]}) == []  # one other is not enough
    assert exchanged({"a": [(30.0, 33.0), (30.1, 32.9), (33.0, 30.0)], "b": []}, {"a": [0, 1, 2], "b": []}) == [2]


def test_a_side_driven_only_first_of_its_days_is_not_compared_with_later_runs_of_a_day():
    """Four runs with a on one day, one a day with b: a car that warms up through the day looks like the change. Pairs from the
    archive allow a comparison."""
    a, b = [run("a", i, 60 + 0.2 * i) for i in range(4)], [run("b", i, 57 + 0.3 * i, day=1 + i) for i in range(3)]
    first = compare_runs([*a, *b], "a", questions=ASKED).answers[0]
    assert (first.verdict, np.isnan(first.low_degc)) == (verdicts.NO_VERDICT, True)
    assert "b stood earlier in the day's order than a" in compare_words.answer(first, SI)
    archived = [Pair(run("a", 0, 60, day=20 + i), run("a", 1, 60 + 0.1 * (i % 3), day=20 + i)) for i in range(8)]
    opened = compare_runs([*a, *b], "a", questions=ASKED, archived=archived).answers[0]
    assert opened.low_degc < -2.85 < opened.high_degc
    again = [*b, run("b", 5, 57.2, day=1)]  # both sides both first and later: little is left of the effect of the day's order
    assert compare_runs([*a, *again], "a", questions=ASKED).answers[0].verdict != verdicts.NO_VERDICT


@pytest.mark.parametrize("off_side", ["a", "b"])
def test_a_probe_error_seen_on_one_side_widens_where_the_other_never_began_cold(off_side):
    """No change at all, but the probe reads 5.5 too low with one side; only that side began a day cold, so nothing shows whether
    the other read low too."""
    sides = {off_side: (54.5, 54.9, 54.2, 54.6), "b" if off_side == "a" else "a": (60, 60.4, 59.8, 60.2)}
    runs = mixed(**sides)

    def cold(degc):
        return [replace(r, cold_degc={"tank": 0.0, "carb_inlet": degc} if r.variant == off_side else None) for r in runs]

    assert compare_runs(runs, "a", questions=ASKED).answers[0].verdict in (verdicts.LOWER, verdicts.HIGHER)
    seen = compare_runs(cold(-5.5), "a", questions=ASKED)
    assert seen.answers[0].verdict == verdicts.UNDECIDED
    assert seen.answers[0].low_degc < 0 < seen.answers[0].high_degc
    assert any(f"read 5.5 °C apart from the others with {off_side}" in line for line in compare_words.cautions(seen, SI))
    assert compare_runs(cold(-1.0), "a", questions=ASKED).answers[0].verdict in (verdicts.LOWER, verdicts.HIGHER)  # as probes do


def test_a_probe_error_is_not_reported_as_a_warm_start():
    runs = [replace(r, start_degc=40.0 if r.variant == "a" else 34.0, start_place="carb_inlet") for r in mixed()]
    off = [replace(r, cold_degc={"tank": 0.0, "carb_inlet": -5.5}) if r.variant == "b" else r for r in runs]
    told = [" ".join(compare_words.conditions(compare_runs(each, "a", questions=ASKED), SI)) for each in (runs, off)]
    assert "those with a began heat-soaked" in told[0]
    assert "heat-soaked" not in told[1]
    assert "the probe at the carb inlet disagreed with the others by 5.5 °C while all were cold" in told[1]


def test_two_ends_of_the_same_sign_are_given_smaller_first():
    runs = mixed(a=(60, 61, 60.5, 60.2), b=(55, 54.5, 55.4, 75.0))
    (line,) = compare_words.bad_runs(compare_runs(runs, "a", questions=ASKED), SI)
    near, far = map(float, re.search(r"between ([\d.]+)(?: °C)? and ([\d.]+) °C cooler; that is no verdict", line).groups())
    assert 0 < near < 5.5 < far


def test_recordings_of_one_car_at_the_same_time_are_named():
    first, second, third = (replace(run("a", n, 60.0), duration_s=s) for n, s in ((0, 3700.0), (1, 3500.0), (2, 600.0)))
    (note,) = overlapping([third, second, first])
    assert compare_notes.note(note, SI).startswith("a0 and a1 say they were driven at the same time")


def test_many_recordings_at_one_time_are_one_caution_and_those_of_another_day_another():
    def at(variant, hours):
        return replace(
            run(variant, 0, 60.0),
            name=f"{variant} at {hours:g}",
            session=f"{variant} at {hours:g}",
            start_s=3600 * hours,
            duration_s=1800.0,
        )

    morning = [at(variant, hours) for hours in (9.0, 9.1, 9.2) for variant in ("a", "b")]  # nine pairs and more
    evening, alone = [at("a", 30.0), at("b", 30.4)], at("a", 50.0)
    told = [compare_notes.note(note, SI) for note in overlapping([*evening, alone, *morning])]
    assert [line.partition(" say they were driven at the same time")[0] for line in told] == [
        "a at 9, b at 9, a at 9.1, b at 9.1, a at 9.2 and b at 9.2",
        "a at 30 and b at 30.4",
    ]
    assert told[0].endswith("All count until you leave one out.")
    assert told[1].endswith("Both count until you leave one out.")
    one = replace(at("b", 9.1), session="a at 9")  # parts of one session, cut at its marks, are no contradiction
    assert overlapping([at("a", 9.0), one]) == []
