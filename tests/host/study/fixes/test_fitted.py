"""The question follows from what was fitted and where, never from the results; gaps are reported, and large other effects are pointed out."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.errors import InputError, UsageError
from hotfuel.report import compare_words
from hotfuel.study.drive.phases import DRIVE, PULL, SOAK
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.looks import Sight
from hotfuel.study.fixes import asking
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.fitted import KINDS, Fitted, kind_of, parse, questions, together
from hotfuel.study.fixes.kept import kinds_in
from hotfuel.study.fixes.summaries import MARGIN, MEAN, PEAK, Cell, Run
from hotfuel.study.line.change import Change
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

SI = Shown("si")
PLACES = ("tank", "pump", "carb_inlet")
CARB = Cell(MEAN, "carb_inlet", PULL)
CARB_MARGIN = Cell(MARGIN, "carb_inlet", PULL)
PUMP_SOAK = Cell(MARGIN, "pump", SOAK)


def run(variant, number, values, **more):
    return Run(f"{variant} {number}", variant, f"file {variant} {number}", values, {}, ambient_degc=25.0, **more)


def runs(levels, cells=(CARB, CARB_MARGIN, PUMP_SOAK), each=3, spread=1.0, seed=0):
    """{variant: (level of each cell)} as alternating runs, with a spread from run to run."""
    random = np.random.default_rng(seed)
    return [
        run(
            name,
            i,
            {cell: level + spread * random.normal() for cell, level in zip(cells, values, strict=True)},
            start_s=100.0 * i,
        )
        for i in range(each)
        for name, values in levels.items()
    ]


def asked(*names, kind="cooler"):
    return questions(dict.fromkeys(names, Fitted(kind, "carb_inlet")), PLACES)[0]


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("ice can", "ice"),
        ("fan-blown cooler", "cooler"),
        ("heat_shield", "shield"),
        ("phenolic spacer", "spacer"),
        ("fan run-on", "fan"),
        ("return line", "return"),
        ("device", None),  # contains "ice", but is not ice
        ("before", None),
    ],
)
def test_a_name_gives_the_kind(words, kind):
    assert kind_of(words) == kind


def test_what_people_write_is_understood():
    assert parse("cooler before carb inlet") == Fitted("cooler", "carb_inlet")
    assert parse("shield") == Fitted("shield", "")
    with pytest.raises(InputError, match='"magic before pump" names no kind of fix: write one of ice, cooler'):
        parse("magic before pump")


def test_the_phase_is_the_kinds_own_unless_named_or_the_car_has_no_pulls():
    def phase(kind, **more):
        return questions({"x": Fitted(kind, "pump")}, PLACES, **more)[0][0].cells[0].phase

    assert [phase(kind) for kind in ("cooler", "ice", "spacer", "shield", "fan", "return")] == [
        PULL,
        PULL,
        SOAK,
        SOAK,
        SOAK,
        "idle",
    ]
    assert phase("cooler", pulled=False) == DRIVE
    assert phase("shield", pulled=False) == SOAK
    assert phase("cooler", phase=SOAK) == SOAK


def test_an_unmeasured_place_is_refused_and_a_guess_is_marked():
    with pytest.raises(InputError, match=r"before rail, which not every session measured: there are tank, pump, carb_inlet"):
        questions({"x": Fitted("cooler", "rail")}, PLACES)
    (one,), unknown = questions({"ice can": Fitted("ice", guessed=True), "after": None}, PLACES)
    assert one.cells == (CARB, CARB_MARGIN)
    assert "Guessed from the name: ice can as ice." in compare_words.question(one)
    assert "beforehand" not in compare_words.question(one), "a guess was not asked in advance"
    assert "--" not in compare_words.question(one), "no command line on a customer's sheet"
    assert unknown == ["after"]


def test_a_fan_run_on_needs_no_place():
    (one,), _ = questions({"fan": parse("fan run-on")}, PLACES)
    assert one.cells[0] == Cell(MEAN, "carb_inlet", SOAK)
    assert compare_words.question(one).startswith("Asked beforehand, by what was fitted")
    assert "name" not in compare_words.question(one)
    (one,), _ = questions({"A": parse("cooler")}, PLACES)
    assert "Where A stands was not said: the carb inlet is the last place of the line." in compare_words.question(one)


def test_the_large_effect_that_was_asked_about_is_the_first_sentence():
    levels = {"as built": (60, 10, 10), "cooler": (50.5, 0.5, 10), "ice can": (23, -27, 10)}
    result = compare_runs(runs(levels), "as built", questions=asked("cooler", "ice can"))
    assert compare_words.finding(result, SI).startswith(
        "With ice can, the fuel at the carb inlet (full-throttle pull, mean) was 36"
    )
    assert [a.verdict for a in result.answers if a.primary] == [verdicts.LOWER, verdicts.LOWER]
    assert result.best == ("ice can",)
    assert "Of all, ice can is the best at the carb inlet" in compare_words.finding(result, SI)
    pair = next(a for a in result.answers if {a.variant, a.baseline} == {"ice can", "cooler"} and a.cell == CARB)
    assert pair.asked
    assert pair.verdict == verdicts.LOWER


def test_equal_variants_cannot_be_distinguished():
    levels = {"as built": (60, 10, 10), "cooler": (50, 0, 10), "ice can": (50.2, 0.2, 10)}
    result = compare_runs(runs(levels), "as built", questions=asked("cooler", "ice can"))
    assert set(result.best) == {"cooler", "ice can"}
    assert (
        "Which of cooler and ice can is best at the carb inlet (full-throttle pull) cannot be told by these runs."
        in compare_words.finding(result, SI)
    )


def test_the_interval_shown_is_the_one_used_for_the_verdict():
    """Three pairs share 5 %: by hand the Bonferroni interval of the pooled t."""
    levels = {"as built": (60, 10, 10), "cooler": (50, 0, 10), "ice can": (40, 0, 10)}
    result = compare_runs(runs(levels), "as built", questions=asked("cooler", "ice can"))
    for answer in result.answers:
        if answer.asked:
            assert answer.level == pytest.approx(1 - 0.05 / 3)
            assert (answer.low_degc, answer.high_degc) == pytest.approx(answer.estimate.interval(1 - 0.05 / 3))
            assert (answer.verdict in (verdicts.LOWER, verdicts.HIGHER)) <= (answer.low_degc * answer.high_degc > 0)


def test_a_phase_that_was_not_driven_gives_no_verdict_and_says_what_to_drive():
    short = runs({"as built": (60, 10, 10), "cooler": (30, -20, -25)})
    for one in short[:2]:
        del one.values[CARB], one.values[CARB_MARGIN]
    result = compare_runs(short, "as built", questions=asked("cooler"))
    assert not [a for a in result.answers if a.primary]
    assert compare_words.finding(result, SI).startswith(
        "No verdict on what cooler did at the carb inlet: it was asked of the full-throttle pull, and as built 0, cooler 0 have no reading"
    )
    assert "Drive a full-throttle pull in every run, or name another phase." in compare_words.finding(result, SI)
    seen = next(a for a in result.answers if a.cell == PUMP_SOAK)
    assert seen.verdict == verdicts.SEEN
    assert "Seen, large, not what was asked: with cooler" in compare_words.finding(result, SI)
    assert result.proposed_order


def test_what_became_worse_elsewhere_follows_the_good_news_at_once():
    """A part that cools the carburettor's inlet by 8 and takes 12 of the pump's room was kept for its first sentence."""
    result = compare_runs(runs({"a": (60, 10, 20), "b": (52, 18, 8)}, spread=0.5), "a", questions=asked("b"))
    (lost,) = result.worse_elsewhere
    assert lost.cell == PUMP_SOAK and lost.difference_degc == pytest.approx(-12, abs=1)
    said = compare_words.finding(result, SI)
    good, bad = said.index("With b, the fuel at the carb inlet"), said.index("But with b, the fuel at the pump (hot soak")
    assert good < bad < said.index("further from boiling")
    assert "nearer to boiling" in said[bad:]
    first, second = compare_words.headlines(result, None, SI)
    assert first.startswith("B lowered the fuel at the carb inlet by 8")
    assert second.startswith("But b left 11.8 °C") and "less room to boiling at the pump (hot stop) than a" in second
    assert "made it worse elsewhere: mend that before keeping it" in " ".join(compare_words.next_steps(result, None, ()))


def test_parts_fitted_together_are_all_named_and_the_first_is_asked():
    fix = together(["return line", "insulation before carb_inlet"])
    assert (fix.kind, fix.before) == ("return", "")
    assert fix.said == ("return line", "insulation before the carb inlet")
    assert together(["insulation before carb_inlet", "return line"]).kind == "insulation"
    with pytest.raises(InputError, match='^"return line" was said to be fitted twice: leave one out$'):
        together(["return line", "return line"])


@pytest.mark.parametrize(
    ("b", "why"),
    [
        ((52, 18, 18.5), "less than is worth having"),
        ((52, 18, 32), "more room there, too"),
        ((68, 2, 8), "worse where it was asked already"),
    ],
)
def test_nothing_is_added_where_nothing_else_became_worse(b, why):
    result = compare_runs(runs({"a": (60, 10, 20), "b": b}, spread=0.5), "a", questions=asked("b"))
    assert not result.worse_elsewhere, why
    assert "But with" not in compare_words.finding(result, SI) and len(compare_words.headlines(result, None, SI)) == 1


def test_what_became_better_elsewhere_follows_an_answer_that_is_no_difference():
    """A cooler that took 10 degC off the carburettor's inlet opened with "no difference worth having", because the pump was asked of."""
    result = compare_runs(runs({"a": (60, 10, 20), "b": (50, 20, 20.5)}, spread=0.5), "a", PUMP_SOAK)
    assert result.answers[0].verdict == verdicts.NO_DIFFERENCE
    (gained,) = result.better_elsewhere
    assert gained.cell == CARB_MARGIN and not result.worse_elsewhere
    said = compare_words.finding(result, SI)
    assert re.match(
        r"b makes no difference worth having to the fuel at the pump .* either way \(3 runs .*?\)\. Not asked, but found: with b, the fuel at the carb inlet "
        r"\(full-throttle pull, smallest margin\) was \d+\.\d °C further from boiling than with a, between",
        said,
    )
    first, second = compare_words.headlines(result, None, SI)
    assert first == "B made no difference worth having at the pump: less than 3 °C either way."
    assert (
        second.startswith("Not asked, but found: b left")
        and "more room to boiling at the carb inlet (full-throttle pull) than a" in second
    )


def test_a_large_gain_seen_beside_an_undecided_question_comes_next():
    result = compare_runs(runs({"a": (60, 10, 20), "b": (50, 30, 22)}, spread=2.5), "a", PUMP_SOAK)
    assert result.answers[0].verdict == verdicts.UNDECIDED
    (gained,) = result.better_elsewhere
    assert gained.cell == CARB_MARGIN and gained.verdict == verdicts.SEEN
    said = compare_words.finding(result, SI)
    assert said.index("is undecided") < said.index("Seen, large, not what was asked: with b, the fuel at the carb inlet")
    assert said.count("(full-throttle pull, smallest margin)") == 1
    assert compare_words.headlines(result, None, SI)[1].startswith("Not asked, but seen: b left")


def test_nothing_is_added_where_the_first_answer_is_a_gain_or_the_place_lies_before_the_fix():
    helped = compare_runs(runs({"a": (60, 10, 20), "b": (52, 18, 32)}, spread=0.5), "a", questions=asked("b"))
    assert not helped.better_elsewhere
    none = compare_runs(runs({"a": (60, 10, 20), "b": (60, 10, 32)}, spread=0.5), "a", questions=asked("b"))
    assert none.answers[0].verdict == verdicts.NO_DIFFERENCE
    pump = next(one for one in none.answers if one.cell == PUMP_SOAK)
    assert pump.verdict == verdicts.HIGHER and pump.difference_degc > 10 and not pump.touched
    assert not none.better_elsewhere


@pytest.mark.parametrize(
    ("low", "high", "digits"), [(-2.97, 2.6, 2), (-2.6, 2.94, 1), (-2.9996, 1.0, 4), (-2.0, 2.0, 0), (-0.4, 0.5, 1)]
)
def test_an_interval_inside_what_is_worth_having_never_prints_as_that(low, high, digits):
    """ "Between 3 degC nearer and 3 degC further, less than 3.0 degC either way" contradicted itself."""
    first = compare_runs(runs({"a": (60, 10, 20), "b": (60, 10, 20)}, spread=0.5), "a", questions=asked("b")).answers[0]
    seen = Sight(0, 1, (low + high) / 2, low, high, np.nan, verdicts.NO_DIFFERENCE, 0, 0)
    one = replace(first, verdict=verdicts.NO_DIFFERENCE, estimate=seen, delta_degc=3.0)
    said = compare_words.answer(one, SI)
    ends = re.search(r"between ([\d.]+) °C cooler and ([\d.]+) °C hotter, less than 3.0 °C either way", said)
    assert ends and max(map(float, ends.groups())) < 3.0
    assert len(ends[1].partition(".")[2]) == digits


def test_a_difference_worth_having_of_half_a_degree_is_not_rounded_in_the_headline():
    result = compare_runs(runs({"a": (60, 10, 20), "b": (60, 10, 20)}, spread=0.3), "a", questions=asked("b"), delta_degc=2.5)
    assert compare_words.headlines(result, None, SI)[0].endswith("less than 2.5 °C either way.")


def test_the_margin_is_tested_only_after_a_decided_temperature():
    result = compare_runs(runs({"a": (60, 10, 10), "b": (60.5, 4.5, 10)}, spread=2.0), "a", questions=asked("b"))
    margin = next(a for a in result.answers if a.cell == CARB_MARGIN)
    assert result.answers[0].verdict == verdicts.UNDECIDED
    assert margin.verdict == verdicts.NO_VERDICT


def test_an_unknown_question_names_the_nearest_three_and_the_words():
    given = runs({"a": (60, 10, 10), "b": (50, 0, 10)})
    with pytest.raises(InputError) as refused:
        compare_runs(given, "a", asking.parse("smallest margin at carb, pull"))
    said = str(refused.value)
    assert "the nearest, smallest margin at carb inlet, full-throttle pull;" in said
    assert said.count(";") == 4  # three questions, three kinds of words
    assert "what: mean, smallest margin; where: carb inlet, pump; when: full-throttle pull, hot soak" in said


def test_the_hottest_is_asked_in_the_reports_words_and_dilutes_nothing_else():
    hottest = Cell(PEAK, "carb_inlet", PULL)
    given = [replace(r, values={**r.values, hottest: r.values[CARB] + 5}) for r in runs({"a": (60, 10, 10), "b": (50, 0, 10)})]
    assert asking.parse("Hottest at carb inlet, full-throttle pull") == hottest
    answer = compare_runs(given, "a", hottest).answers[0]
    assert answer.cell == hottest
    assert answer.verdict == verdicts.LOWER
    assert all(a.cell != hottest for a in compare_runs(given, "a", questions=asked("b")).answers)


@pytest.mark.parametrize("text", ["pump", "mean at pump", "mean at , drive", "at pump, drive"])
def test_a_question_without_its_three_parts_is_refused(text):
    with pytest.raises(UsageError, match="write it like"):
        asking.parse(text)


@given(st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=4), st.sampled_from(PLACES), st.integers(0, 10_000))
def test_the_question_never_depends_on_the_results(kinds, place, seed):
    """Whatever was measured, the same fixes give the same question."""
    fixes = {f"v{i}": Fitted(kind, place) for i, kind in enumerate(kinds)}
    made, unknown = questions(fixes, PLACES)
    assert not unknown
    assert sorted(name for one in made for name in one.variants) == sorted(fixes)
    cells = tuple(dict.fromkeys(cell for one in made for cell in one.cells))
    levels = np.random.default_rng(seed).normal(50, 20, (len(fixes) + 1, len(cells)))
    result = compare_runs(runs(dict(zip(["base", *fixes], levels, strict=True)), cells, seed=seed), "base", questions=made)
    assert result.primary == made[0].cells[0]
    assert {a.cell for a in result.answers if a.asked} == set(cells)


WITHOUT_A_FORECAST = {
    "spray",
    "fan",
    "fuel",
}  # nothing in a recording says how strongly a spray or a fan acts; a fuel is forecast, but is no part to fit

CHANGES = [
    ("ice", Change("x", cooler_effectiveness=0.5, cooler_before="carb_inlet", coolant="ice", ice_kg=2.0)),
    ("cooler", Change("x", cooler_effectiveness=0.5, cooler_before="carb_inlet")),
    ("spacer", Change("x", spacer_share=0.5)),
    ("shield", Change("x", shield_share=0.5, shielded_before="carb_inlet")),
    ("insulation", Change("x", insulation_share=0.5, insulated_before="carb_inlet")),
    ("return", Change("x", return_l_h=40.0)),
    ("pump", Change("x", pump_moved=True)),
    ("pump", Change("x", submerged_pump=True)),
]


@pytest.mark.parametrize(("kind", "change"), CHANGES)
def test_the_kind_of_a_change_that_is_forecast(kind, change):
    assert kinds_in(change) == (kind,)


def test_every_kind_of_fix_has_a_forecast_or_is_listed_as_one_without():
    assert set(KINDS) == {kind for kind, _ in CHANGES} | WITHOUT_A_FORECAST
