"""The order in which the sides are named never changes a verdict: the side without a fix is what the others are compared with."""

from dataclasses import replace
from functools import cache
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest
from driven import START_S, Driven
from hotfuel.car import EXAMPLE, load
from hotfuel.errors import InputError
from hotfuel.report import compare_words
from hotfuel.simulator.drives import Phase as Part
from hotfuel.simulator.scenarios import scenarios
from hotfuel.study.fixes.baseline import fixes_of
from hotfuel.study.fixes.fitted import parse
from hotfuel.study.fixes.sessions import compare_sessions
from hotfuel.study.fixes.summaries import MEAN, Cell
from hotfuel.units import Shown

SI = Shown("si")
SHORT = (Part("drive", 4.0, "cruise", 64.0), Part("hot soak", 4.0, "off"))
BARE = replace(scenarios()["as built"], drive=SHORT, variation=0.0)
COLDER = {"shield": -6.0, "duct": -2.0, "before": 0.0, "after": -6.0, "spring": 0.0}


@cache
def side(name, metadata=()):
    """Four runs on four days; on every second one in the opposite order."""
    random = np.random.default_rng(list(COLDER).index(name))
    made = []
    for day in range(4):
        shift = {place: random.normal(0, 0.5) for place in ("tank", "pump", "carb_inlet")}
        shift["pump"] += COLDER[name]
        at = list(COLDER).index(name)
        start_s = START_S + 86400 * day + 3600 * (at if day % 2 else len(COLDER) - at)
        made.append(
            Driven(
                BARE, name=f"{name} {day}", metadata={"ambient_degc": 30.0, **dict(metadata)}, start_s=start_s, shift_degc=shift
            )
        )
    return made


def told(order, **options):
    """(baseline, the answers as data, the finding) of these sides in this order."""
    groups = {name: side(*one) if isinstance(one, tuple) else side(one) for name, one in order.items()}
    result = compare_sessions(groups, **options)
    answers = [{**one.as_dict(), "level": round(one.level, 9)} for one in result.answers]
    return result.baseline, answers, compare_words.finding(result, SI), result


def mirrored(answer):
    """An answer as text; of two fixes the one whose name comes first against the other."""
    one = dict(answer)
    if one["variant"] > one["baseline"] != "before":
        one |= {"variant": one["baseline"], "baseline": one["variant"], "difference_degc": -one["difference_degc"]}
        one |= {"low_degc": -one["high_degc"], "high_degc": -one["low_degc"]}
        one["verdict"] = {"lower": "higher", "higher": "lower"}.get(one["verdict"], one["verdict"])
    return str({key: round(value, 6) if isinstance(value, float) else value for key, value in one.items()})


SIDES = {
    "stated": (("before", "shield"), {"fixes": {"shield": parse("shield before pump")}}),
    "stated of one whose name says nothing": (("before", "after"), {"fixes": {"after": parse("shield before pump")}}),
    "by the name": (("before", "shield"), {}),
    "of three": (("before", "shield", "duct"), {"fixes": {n: parse("shield before pump") for n in ("shield", "duct")}}),
    "stated of one, another by its name": (("before", "shield", "duct"), {"fixes": {"duct": parse("shield before pump")}}),
    "stated, with a question named": (
        ("before", "shield"),
        {"fixes": {"shield": parse("shield")}, "primary": Cell(MEAN, "pump", "hot soak")},
    ),
}


@pytest.mark.parametrize("case", SIDES)
def test_the_order_of_naming_changes_nothing(case):
    names, options = SIDES[case]
    first, *others = [told({name: name for name in order}, **options) for order in permutations(names)]
    assert first[0] == "before"
    assert any(answer["verdict"] == "lower" for answer in first[1])
    for other in others:
        assert other[0] == first[0]
        assert sorted(map(mirrored, other[1])) == sorted(map(mirrored, first[1]))
        if len(names) == 2:
            assert other[2] == first[2]


def test_the_side_compared_with_is_named_where_it_was_not_named_first():
    fixes = {"shield": parse("shield before pump")}
    said = compare_words.conditions(told({"shield": "shield", "before": "before"}, fixes=fixes)[3], SI)
    assert said[0] == "Compared with before, the only side of which no fix is known."
    assert not any("is not stated" in line for line in said)
    said = compare_words.conditions(told({"before": "before", "shield": "shield"}, fixes=fixes)[3], SI)
    assert not any(line.startswith("Compared with") for line in said)


def test_a_fix_noted_with_the_sessions_counts_as_stated():
    noted = ("after", (("fix", "shield"), ("before", "pump")))
    one, other = (told(order) for order in ({"after": noted, "before": "before"}, {"before": "before", "after": noted}))
    assert one[0] == other[0] == "before"
    assert one[2] == other[2]


def test_without_any_fix_only_the_sign_follows_the_order():
    one, other = (told({name: name for name in order})[1] for order in (("before", "after"), ("after", "before")))
    opposite = {"lower": "higher", "higher": "lower"}
    there = {(a["quantity"], a["place"], a["phase"]): a for a in other}
    for a in one:
        b = there[a["quantity"], a["place"], a["phase"]]
        assert b["verdict"] == opposite.get(a["verdict"], a["verdict"])
        assert b["difference_degc"] == pytest.approx(-a["difference_degc"])
        assert a["low_degc"] == pytest.approx(-b["high_degc"])
        assert b["primary"] == a["primary"]


def test_a_baseline_that_was_named_stays_and_its_fix_is_the_question():
    groups = {"shield": "shield", "before": "before"}
    fixes = {"shield": parse("shield before pump")}
    base, answers, _, result = told(groups, baseline="shield", fixes=fixes)
    assert base == "shield"
    assert (answers[0]["place"], answers[0]["phase"], answers[0]["verdict"]) == ("pump", "hot soak", "higher")
    usual = told(groups, fixes=fixes)[1][0]
    assert answers[0]["difference_degc"] == pytest.approx(-usual["difference_degc"])
    assert not any("not stated" in line for line in compare_words.conditions(result, SI))


@pytest.mark.parametrize("order", list(permutations(("before", "spring", "shield"))))
def test_two_sides_without_a_fix_are_not_chosen_between(order):
    named = [name for name in order if name != "shield"]
    with pytest.raises(InputError) as error:
        told({name: name for name in order})
    assert str(error.value) == (
        f"nothing says what was fitted with {named[0]} and {named[1]}, so it is not clear which of them the others are compared with: "
        f'name it, as in --baseline "{named[0]}"'
    )
    assert told({name: name for name in order}, baseline="spring")[1][0]["baseline"] == "spring"


def test_two_fixes_that_ask_the_same_need_no_baseline_and_others_do():
    same = {"shield": parse("shield before pump"), "duct": parse("spacer before pump")}
    assert told({"shield": "shield", "duct": "duct"}, fixes=same)[0] == "shield"
    apart = {"shield": parse("shield before pump"), "duct": parse("cooler before carb_inlet")}
    with pytest.raises(InputError, match='each of them asks something else .*: name the one .* as in --baseline "shield"'):
        told({"shield": "shield", "duct": "duct"}, fixes=apart)
    answers = [told({n: n for n in order}, fixes=apart, baseline="shield")[1] for order in permutations(("shield", "duct"))]
    assert answers[0] == answers[1]


def test_a_side_whose_name_says_what_is_not_there_is_what_the_other_is_compared_with():
    """ "without shield" was taken for a shield, so that two fixes were compared with each other."""
    for order in (("without shield", "shield"), ("shield", "without shield")):
        groups = {name: side("before" if name.startswith("without") else name) for name in order}
        result = compare_sessions(groups)
        assert result.baseline == "without shield"
        assert [one.variant for one in result.answers if one.primary] == ["shield"]


def test_what_a_drive_says_was_removed_is_not_taken_from_the_car_file():
    shielded = load(EXAMPLE).model_copy(update={"fix": "heat shield"})

    def stretch(variant, noted):
        session = SimpleNamespace(metadata={"fix": noted} if noted else {})
        return SimpleNamespace(variant=variant, session=session, course=SimpleNamespace(car=shielded))

    found = fixes_of([stretch("a", "heat shield removed"), stretch("b", ""), stretch("c", "sleeve, without shield")], {})
    assert {name: one.kind for name, one in found.items()} == {"b": "shield", "c": "insulation"}
