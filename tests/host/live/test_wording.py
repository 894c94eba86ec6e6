"""The text a person reads: units, signs, ranges, states; hostile text; words that must not appear."""

import json
import math
import time
import unicodedata

import numpy as np
import pytest
from hotfuel.live import memory, plain, wording
from hotfuel.live.actions import action_for
from hotfuel.live.alarms import Spell
from hotfuel.live.forecasts import Outlook
from hotfuel.live.situation import PlaceNow, Situation
from hotfuel.risk.criterion import Criterion
from hotfuel.risk.level import Level
from hotfuel.risk.margin import PlaceMargin
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
    limits = {"limit_degc": 50.0 + margin, "margin_degc": margin, "uncertainty_degc": 2.5, "pressure_kpa": 94.3}
    limits = {what: np.array([more.pop(what, value)]) for what, value in limits.items()}
    degc = more.get("degc", 50.0)
    margins = PlaceMargin(
        temperature_degc=np.array([degc]), **limits, vapour_liquid_ratio=np.zeros(1), state=np.array([state], dtype=np.uint8),
        criterion=Criterion(20, 10, 36, "mechanical pump"), basis="",
    )  # fmt: skip
    values = {
        "name": name, "role": "pump", "degc": degc, "reason": 0, "last_degc": 50.0, "last_age_s": 0.0, "margins": margins,
        "state": state, "trend": Trend(LEVEL),
    }  # fmt: skip
    return PlaceNow(**{**values, **more})


def situation(*places, **more):
    values = {
        "name": "sunday", "live": True, "read_share": 1.0, "age_s": 0.1, "at": 100.0, "wall_offset_s": math.nan, "places": places,
        "unseen_places": (), "first": "", "winks": False, "sounding": False,
        "board_warns": False, "disagreement": (), "outlooks": (), "standing": False, "stopped_at": math.nan,
        "inputs": {"running": 1.0}, "marks": (), "health": HEALTH,
        "notes": (),
    }  # fmt: skip
    return Situation(**{**values, **more})


def test_the_headline_is_word_place_margin_range_and_arrow_of_one_place():
    head = wording.panel(situation(place(trend=Trend(CLOSING, 4.2, 3.1, 6.4)), place("tank", 20.0)), Shown("us"))["head"]
    # 5 degC are 9 degF; its standard uncertainty of 4.5 degF allows steps of 2 degF, its 95 % range is 9 -+ 8.8
    assert (head["place"], head["margin"], head["difference"], head["left"], head["range"]) == (
        "pump",
        "8",
        "°F",
        "left",
        "0 to 18",
    )
    assert head["arrow"] == "closing"
    assert head["eta"] == "limit in about 4 min (3 to 6)"


@pytest.mark.parametrize(
    ("margin", "margin_text", "left", "spread"), [(-1.0, "2", "past", "−8 to 10"), (0.0, "0", "left", "−8 to 8")]
)
def test_a_margin_used_up_and_a_margin_of_zero(margin, margin_text, left, spread):
    head = wording.panel(situation(place(margin=margin)), Shown("us"))["head"]
    assert (head["margin"], head["left"], head["range"]) == (margin_text, left, spread)


@given(st.floats(-60, 60), st.floats(0.3, 40))
def test_a_number_is_rounded_to_its_uncertainty_and_does_not_flicker(value, uncertainty):
    step = plain.step_of(uncertainty)
    assert step <= max(uncertainty, 1.0)
    steady = plain.Steady()
    first = steady("pump", value, step)
    assert first % step == pytest.approx(0, abs=1e-9)
    assert abs(first - value) <= step / 2 + 1e-9
    # no flicker at the edge of rounding
    assert {steady("pump", first + share * step, step) for share in (0.65, -0.65, 0.3, 0.0)} == {first}
    assert steady("pump", first + 0.8 * step, step) == first + step
    assert plain.Steady()("tank", value, step) == first


def test_unknown_values_are_cleared_and_shown_as_a_dash():
    steady = plain.Steady()
    assert steady("pump", 7.4, 1.0) == 7
    assert math.isnan(steady("pump", math.nan, 1.0))
    assert steady("pump", 7.6, 1.0) == 8
    assert plain.number(math.nan) == "–"


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
    more = {"degc": math.nan, "reason": 4} if state == Level.LOST else {}
    shown = wording.panel(situation(place(state=state, **more), inputs={"running": running}), Shown("si"))["places"][0]
    assert (shown["key"], shown["word"]) == (key, word)
    assert shown["action"].endswith(".")
    assert 0 < len(shown["short"]) <= 24
    assert 0 < len(shown["brief"]) <= 40
    if state == Level.ACT:
        assert "Do not open cap" in shown["action"]
        assert ("Pull over where it is safe" in shown["action"]) == (running != 0)


def test_the_worst_state_leads_with_its_own_number_and_action_even_if_another_margin_is_smaller():
    told = wording.panel(
        situation(place("pump", 3.0, Level.WARN), place("carb_inlet", 14.0, Level.ACT, role="carburettor")), Shown("si")
    )
    head = told["head"]
    assert (head["key"], head["word"], head["place"], head["margin"]) == ("act", "act", "carb_inlet", "14")
    assert head["action"].startswith("Pull over where it is safe, clear of traffic. Fan on")
    assert [row["place"] for row in told["places"]] == ["carb_inlet", "pump"]


def test_places_come_worst_first_by_state_and_then_by_margin():
    known = memory.LastMargin(90.0, 4.0, 2.0)
    made = (
        place("tank", 30.0), place("suction", 9.0), place("pump", 6.0, ahead=True, ahead_min=(2.2, 1.6, 3.4)), place("bowl", -4.0, percolates=True),
        place("carb_inlet", math.nan, Level.LOST, degc=math.nan, known=known), place("carb_inlet_needle", 2.0, Level.WARN),
        place("return", 8.0, Level.ACT, spell=Spell(20.0), back_since=74.0),
    )  # fmt: skip
    told = wording.panel(situation(*made), Shown("si"))["places"]
    assert [(row["place"], row["key"]) for row in told] == [
        ("carb_inlet_needle", "warn"), ("pump", "ahead"), ("carb_inlet", "lost"), ("return", "back"), ("bowl", "note"), ("suction", "quiet"),
        ("tank", "quiet"),
    ]  # fmt: skip


def test_a_place_without_a_limit_leads_with_the_reason_and_without_any_limits_the_hottest_does():
    told = wording.panel(
        situation(place("carb_inlet", -2.0, Level.ACT), place("pump", math.nan, Level.LOW_PRESSURE, limit_degc=math.nan)),
        Shown("si"),
    )
    assert (told["head"]["place"], told["head"]["word"], told["head"]["margin"]) == ("pump", "act", "")
    assert told["head"]["lost"].startswith("pressure too low for a limit")
    bare = {"state": Level.NO_MARGIN, "limit_degc": math.nan, "margin": math.nan}
    head = wording.panel(situation(place("tank", degc=31.0, **bare), place("pump", degc=44.0, **bare)), Shown("si"))["head"]
    assert (head["place"], head["margin"], head["difference"], head["left"], head["note"]) == (
        "pump",
        "44",
        "°C",
        "",
        "no margin can be told",
    )


def test_the_limit_ahead_is_a_state_with_its_own_word_and_a_useful_action():
    head = wording.panel(situation(place(margin=6.0, ahead=True, ahead_min=(2.2, 1.6, 3.4))), Shown("si"))["head"]
    assert (head["key"], head["word"], head["eta"]) == ("ahead", "limit ahead", "limit in about 2 min (2 to 3)")
    vapour = wording.panel(situation(place(margin=6.0, ahead=True, trend=Trend(BOILING))), Shown("si"))["head"]
    assert (vapour["arrow"], vapour["trend"]) == ("closing", "first vapour")  # where it is heading, and what is there already
    assert "raise the idle" in head["action"]
    standing = wording.panel(
        situation(place(margin=6.0, ahead=True, ahead_min=(2.2, 1.6, 3.4)), inputs={"running": 0.0}), Shown("si")
    )["head"]
    assert "raise" not in standing["action"]
    assert "outdoors" in standing["action"]


def test_quiet_says_that_there_is_nothing_to_do():
    head = wording.panel(situation(place()), Shown("si"))["head"]
    assert head["action"] == "Nothing to do now."


def test_a_latched_alarm_whose_margin_has_recovered_reads_differently():
    now = wording.panel(situation(place(margin=6.0, state=Level.ACT, spell=Spell(40.0), back_since=74.0)), Shown("si"))["head"]
    assert (now["key"], now["word"]) == ("back", "was beyond")
    assert now["history"] == "was beyond, back below since 0:01:14 h (26 s)"
    close = wording.panel(situation(place(margin=6.0, state=Level.WARN, spell=Spell(40.0), back_since=74.0)), Shown("si"))["head"]
    assert (close["key"], close["word"], close["history"]) == ("back", "was close", "was close, back since 0:01:14 h (26 s)")
    still_close = wording.panel(situation(place(margin=1.0, state=Level.ACT, spell=Spell(40.0), back_since=74.0)), Shown("si"))[
        "head"
    ]
    assert (still_close["key"], still_close["word"]) == ("warn", "warn")
    assert still_close["history"].startswith("was beyond, back below since")


def test_a_trend_that_still_includes_time_beyond_the_limit_gives_no_direction():
    back = {"margin": 6.0, "state": Level.ACT, "spell": Spell(40.0), "trend": Trend(CLOSING, 4.2, 3.1, 6.4)}
    for since, arrow, trend, eta in ((74.0, "unknown", "", ""), (-30.0, "closing", "closing", "limit in about 4 min (3 to 6)")):
        head = wording.panel(situation(place(**back, back_since=since)), Shown("si"))["head"]
        assert (head["key"], head["arrow"], head["trend"], head["eta"]) == ("back", arrow, trend, eta)


def test_an_unreadable_value_is_a_dash_with_its_last_value_and_an_act_stays():
    known = memory.LastMargin(97.0, -8.2, 2.5)
    blind = place(margin=math.nan, state=Level.ACT, degc=math.nan, reason=4, limit_degc=57.0, known=known)
    row = wording.panel(situation(blind), Shown("us"))["places"][0]
    assert (row["key"], row["margin"], row["left"], row["range"], row["temperature"]) == ("act", "–", "", "", "–")
    assert row["was"] == "was 14 °F past, act, 0:01:37 h"


def test_where_the_pressure_leaves_no_limit_an_old_margin_is_not_shown_as_the_last():
    known = memory.LastMargin(20.0, -0.1, 2.5)
    for level, said in (
        (Level.LOW_PRESSURE, "pressure too low for a limit"),
        (Level.IMPOSSIBLE_PRESSURE, "impossible pressure: check the car file"),
    ):
        now = place(margin=math.nan, limit_degc=math.nan, state=level, degc=25.0, last_degc=25.0, last_age_s=3.0, known=known)
        assert wording.panel(situation(now), Shown("us"))["places"][0]["was"] == f"was 77 °F, {said}, 0:01:37 h"


def test_percolation_after_a_hot_stop_is_a_note():
    shown = wording.panel(situation(place("carb_inlet_needle", -3.0, percolates=True), inputs={"running": 0.0}), Shown("si"))
    assert shown["places"][0]["word"] == "percolation"
    assert shown["places"][0]["key"] == "note"
    assert shown["places"][0]["name"] == "carb inlet, behind the needle"


@pytest.mark.parametrize("role", ["injector", "line"])
def test_an_injected_place_beyond_its_limit_after_a_hot_stop_is_a_note_of_its_own(role):
    now = situation(place("inlet", -3.0, percolates=True, role=role), inputs={"running": 0.0}, standing=True)
    (row,) = wording.panel(now, Shown("si"))["places"]
    assert (row["word"], row["key"]) == ("may boil", "note")
    told = action_for("note", role, standing=True).whole
    assert "before cranking" in told and "No flame" in told and "Do not open cap, lines or filters while hot" in told
    assert "flooded" not in told and "flooded" in action_for("note", "bowl", standing=True).whole


def test_a_time_to_the_limit_is_given_only_if_it_is_known():
    shown = wording.panel(situation(place(trend=Trend(BOILING))), Shown("si"))["places"][0]
    assert shown["eta"] == ""
    assert shown["trend"] == "first vapour"  # not at the limit yet
    past = wording.panel(situation(place(margin=-3.0, state=Level.ACT, trend=Trend(BOILING))), Shown("si"))["places"][0]
    assert past["trend"] == "boiling"


def test_a_time_range_without_a_known_end_is_open():
    shown = wording.panel(situation(place(trend=Trend(CLOSING, 9.6, 5.2, 58.0))), Shown("si"))["places"][0]
    assert shown["eta"] == "limit in about 10 min (5 or more)"


def test_past_heat_is_reported_with_its_time():
    calm, hot = place(spell=Spell(40.0, 70.0)), place(state=Level.WARN, spell=Spell(40.0, math.nan))
    assert wording.panel(situation(calm, at=700.0), Shown("si"))["places"][0]["history"] == "was hot 0:00:40 h, quiet 10 min"
    assert wording.panel(situation(hot, at=700.0), Shown("si"))["places"][0]["history"] == "hot now, since 0:00:40 h"


@pytest.mark.parametrize("state", [Level.WARN, Level.ACT])
def test_a_place_that_is_not_read_any_more_is_not_called_hot_now(state):
    unread = place(state=state, degc=math.nan, reason=4, last_age_s=60.0, spell=Spell(40.0))
    shown = wording.panel(situation(unread, at=700.0), Shown("si"))["places"][0]
    assert shown["history"] == "was hot since 0:00:40 h, not read since 0:10:40 h"


def test_an_idle_forecast_is_short():
    idle = IdleForecast(10.0, Band(60, 61, 62), Band(0.0, 2.2, 4.4), Band(0, 2, 4), True)
    told = wording.panel(situation(place(), outlooks=(Outlook("pump", 2.0, idle=idle),)), Shown("us"))["forecasts"]
    assert told["rows"] == [{"name": "pump", "text": "in 10 min: 4 °F left, 0 to 8"}]
    assert told["note"].startswith("model only")


def test_an_idle_forecast_past_the_limit_says_past_and_is_rounded_to_its_band():
    idle = IdleForecast(10.0, Band(60, 61, 62), Band(-25.7, -14.6, -5.2), Band(0, 2, 4), True)
    told = wording.panel(situation(place(), outlooks=(Outlook("pump", 2.0, idle=idle),)), Shown("us"))["forecasts"]
    # 14.6 degC are 26 degF; the band of 37 degF (95 in 100) corresponds to a standard uncertainty of 9.4, which allows steps of 5
    assert told["rows"][0]["text"] == "in 10 min: 25 °F past, 10 to 45"


def test_a_part_of_the_board_that_could_not_start_is_reported():
    board = {"store_free_kb": 900, "frames_stored": 0, "failed": 1 | 4}
    told = wording.panel(situation(place(), health=HEALTH | {"board": board}), Shown("us"))
    assert "part of the board could not start: its lamp gives no warning, it never sleeps" in told["flags"][0]
    row = next(row for row in told["health"] if row["name"] == "board failed")
    assert row["bad"]
    settings = wording.panel(situation(place(), health=HEALTH | {"board": board | {"failed": 8}}), Shown("us"))["flags"][0]
    assert "uses the defaults" in settings and "hotfuel board settings" in settings and "install" not in settings
    assert "hotfuel board install" in row["text"]
    told = wording.panel(situation(place(), health=HEALTH | {"board": board | {"failed": 0}}), Shown("us"))
    assert told["flags"] == []


def test_no_word_promises_anything_or_states_a_likelihood():
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
            "go on",
            "has begun",
        ):
            assert word not in text, word
    assert wording.CAUTION == "No warning does not mean safe: fuel can boil where there is no probe."


def test_a_panel_is_plain_json():
    nothing = situation(at=math.nan, age_s=math.nan, inputs={})
    for now in (
        nothing,
        situation(place(degc=math.nan, margin_degc=math.nan, reason=4, last_degc=math.nan, last_age_s=math.nan)),
    ):
        shown = json.loads(json.dumps(wording.panel(now, Shown("us")), allow_nan=False))
        assert "nan" not in json.dumps(shown).lower().replace("maintenance", "")
    assert wording.panel(nothing, Shown("us"))["head"]["note"] == "waiting for the first reading"
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


def test_what_to_check_when_readings_stop_is_the_plug_or_the_end_of_a_simulated_drive():
    assert "Check the plug" in wording.panel(situation(place()), Shown("si"))["check"]
    simulated = HEALTH | {
        "description": {"simulated": 1, "period_ms": 200, **{f"firmware_{p}": 0 for p in ("major", "minor", "patch")}}
    }
    told = wording.panel(situation(place(), health=simulated), Shown("si"))["check"]
    assert (
        told == "The simulated board is silent: its drive is over, unless a fault was asked for. End the recording with Ctrl-C."
    )


def test_the_day_is_said_of_what_was_not_today():
    now = time.time()
    assert plain.Clock(0.0, now).day(now) == ""
    then = time.mktime((2026, 6, 1, 14, 3, 26, 0, 0, -1))
    assert plain.Clock(then, now).day(0.0) == "1 June 2026, "
    assert plain.Clock(float("nan"), now).day(0.0) == plain.Clock(then, now).day(float("nan")) == ""
