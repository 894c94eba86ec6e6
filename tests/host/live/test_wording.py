"""What a person reads: units, signs, ranges, states; hostile text; words that must not appear."""

import json
import math
import unicodedata

import pytest
from hotfuel.live import wording
from hotfuel.live.alarms import Spell
from hotfuel.live.forecasts import Outlook
from hotfuel.live.situation import PlaceNow, Situation
from hotfuel.risk.level import Level
from hotfuel.risk.soak import Band, IdleForecast
from hotfuel.risk.trend import BOILING, CLOSING, LEVEL, Trend
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

HEALTH = {
    "board": {}, "description": {}, "damaged_pieces": 0, "frames": 10, "gaps": 0, "gap_s": 0.0, "gap_reason": "", "boots": 1, "lamp": None,
    "events": (), "unknown": 0,
}  # fmt: skip


def place(name="pump", margin=5.0, state=Level.QUIET, **more):
    values = {
        "name": name, "role": "pump", "degc": 50.0, "reason": 0, "last_degc": 50.0, "last_age_s": 0.0, "limit_degc": 50.0 + margin,
        "margin_degc": margin, "uncertainty_degc": 2.5, "pressure_kpa": 94.3, "criterion": "V/L 20", "state": state, "trend": Trend(LEVEL),
    }  # fmt: skip
    return PlaceNow(**{**values, **more})


def situation(*places, **more):
    values = {
        "name": "sunday", "live": True, "read_share": 1.0, "age_s": 0.1, "at": 100.0, "wall_offset_s": math.nan, "places": places,
        "smallest": min(places, key=lambda p: p.margin_degc, default=None), "unseen_places": (), "first": "", "winks": False, "sounding": False,
        "board_warns": False, "disagreement": (), "outlooks": (), "standing": False, "inputs": {"running": 1.0}, "marks": (), "health": HEALTH,
        "notes": (),
    }  # fmt: skip
    return Situation(**{**values, **more})


def test_the_headline_is_place_margin_range_arrow():
    head = wording.panel(situation(place(trend=Trend(CLOSING, 4.2, 3.1, 6.4)), place("tank", 20.0)), Shown("us"))["head"]
    assert (head["place"], head["margin"], head["unit"], head["left"], head["range"]) == ("pump", "9", "°F", "left", "4 to 14")
    assert head["arrow"] == "closing"
    assert head["eta"] == "limit in about 4 min (3 to 6)"


@pytest.mark.parametrize(
    ("margin", "margin_text", "left", "spread"), [(-1.0, "2", "past the limit", "−3 to 6"), (0.0, "0", "left", "−4 to 4")]
)
def test_a_margin_used_up_and_one_of_nothing(margin, margin_text, left, spread):
    head = wording.panel(situation(place(margin=margin)), Shown("us"))["head"]
    assert (head["margin"], head["left"], head["range"]) == (margin_text, left, spread)


@pytest.mark.parametrize(
    ("state", "key", "word"),
    [
        (Level.QUIET, "quiet", "no warning"),
        (Level.WARN, "warn", "warn"),
        (Level.ACT, "act", "act"),
        (Level.LOST, "lost", "sensor lost"),
    ],
)
@pytest.mark.parametrize("running", [1.0, 0.0, math.nan])
def test_every_state_has_a_word_and_an_action(state, key, word, running):
    shown = wording.panel(situation(place(state=state), inputs={"running": running}), Shown("si"))["places"][0]
    assert (shown["key"], shown["word"]) == (key, word)
    assert shown["action"].endswith(".")
    if state == Level.ACT:
        assert "Do not open cap" in shown["action"]
        assert ("Pull over where it is safe" in shown["action"]) == (running != 0)


def test_the_worst_state_anywhere_leads_even_if_another_margin_is_smaller():
    head = wording.panel(situation(place("pump", 3.0, Level.WARN), place("carb_inlet", 4.0, Level.ACT)), Shown("si"))["head"]
    assert (head["key"], head["place"], head["where"]) == ("act", "pump", "carb inlet")
    assert head["action"].startswith("Pull over")


def test_percolation_after_a_hot_stop_is_a_note():
    shown = wording.panel(situation(place("carb_inlet_needle", -3.0, percolates=True), inputs={"running": 0.0}), Shown("si"))
    assert shown["places"][0]["word"] == "percolation"
    assert shown["places"][0]["key"] == "note"
    assert shown["places"][0]["name"] == "carb inlet, behind the needle"


def test_no_time_to_the_limit_unless_it_can_be_told():
    shown = wording.panel(situation(place(trend=Trend(BOILING))), Shown("si"))["places"][0]
    assert shown["eta"] == ""
    assert shown["trend"] == "boiling has begun"


def test_a_time_whose_end_nobody_can_tell_has_no_end():
    shown = wording.panel(situation(place(trend=Trend(CLOSING, 9.6, 5.2, 58.0))), Shown("si"))["places"][0]
    assert shown["eta"] == "limit in about 10 min (5 or more)"


def test_what_was_hot_is_said_with_its_time():
    calm, hot = place(spell=Spell(40.0, 70.0)), place(state=Level.WARN, spell=Spell(40.0, math.nan))
    assert wording.panel(situation(calm, at=700.0), Shown("si"))["places"][0]["history"] == "was hot 0:00:40 h, quiet 10 min"
    assert wording.panel(situation(hot, at=700.0), Shown("si"))["places"][0]["history"] == "hot now, since 0:00:40 h"


def test_an_idle_forecast_reads_at_a_glance():
    idle = IdleForecast(10.0, Band(60, 61, 62), Band(0.0, 2.2, 4.4), Band(0, 2, 4), True)
    told = wording.panel(situation(place(), outlooks=(Outlook("pump", 2.0, idle=idle),)), Shown("us"))["forecasts"]
    assert told["rows"] == [{"name": "pump", "text": "in 10 min: 4 °F left, 0 to 8"}]
    assert told["note"].startswith("model only")


def test_no_word_promises_anything_or_tells_a_likelihood():
    states = [
        place(state=state, margin=margin)
        for state in (Level.QUIET, Level.WARN, Level.ACT, Level.LOST)
        for margin in (-5.0, 0.5, 20.0)
    ]
    for running in (0.0, 1.0, math.nan):
        text = json.dumps(wording.panel(situation(*states, inputs={"running": running}), Shown("us"))).lower()
        for word in (
            "green",
            '"ok',
            " ok ",
            "all clear",
            "probab",
            "alarm",
            "acknowledg",
            "chance",
            "guarantee",
            "is safe.",
            "will start",
        ):
            assert word not in text, word
    assert wording.CAUTION == "No warning does not mean safe: fuel can boil where there is no probe."


def test_a_panel_is_plain_json():
    nothing = situation(smallest=None, at=math.nan, age_s=math.nan, inputs={})
    for now in (
        nothing,
        situation(place(degc=math.nan, margin_degc=math.nan, reason=4, last_degc=math.nan, last_age_s=math.nan)),
    ):
        shown = json.loads(json.dumps(wording.panel(now, Shown("us")), allow_nan=False))
        assert "nan" not in json.dumps(shown).lower().replace("maintenance", "")
    assert wording.panel(nothing, Shown("us"))["head"]["range"] == "waiting for the first reading"
    assert wording.panel(nothing, Shown("us"))["age_s"] is None


@given(st.text(max_size=500), st.integers(1, 200))
def test_cleaned_text_has_no_control_characters_and_is_bounded(text, most):
    cleaned = wording.clean(text, most)
    assert len(cleaned) <= most
    assert not [letter for letter in cleaned if unicodedata.category(letter)[0] == "C"]
    assert "  " not in cleaned
    assert wording.clean(cleaned, most) == cleaned.strip()


def test_marks_of_unknown_origin_are_shown_as_text():
    hostile = "<script>alert(1)</script>\x1b[2J\x00\u202egnp\n[bold red]x"
    shown = wording.panel(situation(place(), marks=((1.0, hostile),)), Shown("si"))["marks"]
    assert shown[0]["text"] == "<script>alert(1)</script> [2J gnp [bold red]x"
