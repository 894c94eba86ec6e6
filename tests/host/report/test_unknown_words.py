"""The words for what nobody measured, and for where a flow comes from: each kind has a phrase, each is used, and text and JSON use the same phrase."""

import re
from dataclasses import asdict
from pathlib import Path

import hotfuel
import pytest
from hotfuel.report.line_words import FLOW, in_words
from hotfuel.report.unknown_words import WORDS, named
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.hose import METERED_IN_PART, FlowBasis
from hotfuel.study.line.stages import Stage
from hotfuel.study.line.unknown import Unknown, What

LINE = Path(hotfuel.__file__).parent / "study" / "line"


def test_each_kind_has_a_phrase():
    assert set(WORDS) == set(What)


@pytest.mark.parametrize("what", What)
def test_a_phrase_fits_into_a_sentence(what):
    text = named(Unknown(what, "carb_inlet"))
    assert re.fullmatch(r"[a-z][\w ,']+", text) and not text.endswith((" ", ","))
    assert ("carb inlet" in text) == ("{of}" in WORDS[what])


@pytest.mark.parametrize("what", What)
def test_each_kind_is_drawn_somewhere(what):
    assert any(f"What.{what.name}" in path.read_text() for path in LINE.glob("*.py") if path.name != "unknown.py")


def test_a_phrase_names_what_it_belongs_to():
    assert named(Unknown(What.PROBE, "carb_inlet_needle")) == "what the probe at the carb inlet, behind the needle is wrong by"
    assert named(Unknown(What.THIS_CAR, What.INSULATION)) == "how much of the insulation this car gets"
    assert named(None) == ""


def test_json_says_it_in_the_same_words():
    carried = Interval(1.0, 2.0, 3.0, Unknown(What.AROUND, "pump"))
    plain = asdict(Stage("pump", "idling", 60.0, 40.0, carried))
    assert plain["told"]["carried_by"] == Unknown(What.AROUND, "pump")  # as data until here
    said = in_words({"rows": (plain, {"told": asdict(Interval(1.0, 2.0, 3.0))}), "place": "pump"})
    assert said["rows"][0] == plain | {"told": plain["told"] | {"carried_by": named(carried.carried_by)}}
    assert said["rows"][1]["told"]["carried_by"] == ""
    assert said["place"] == "pump"


def test_each_basis_of_a_flow_has_words():
    assert set(FLOW) == set(FlowBasis)
    assert len(set(FLOW.values())) == len(FLOW)
    for alone, in_part in METERED_IN_PART.items():
        assert FLOW[in_part] == f"measured by a meter in part, else {FLOW[alone]}"
    assert in_words({"heat": {"flow_basis": FlowBasis.METER}}) == {"heat": {"flow_basis": "measured by a meter"}}
