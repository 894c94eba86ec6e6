"""Page one in words: "boiled" only beyond the uncertainty, a separate sentence for every answer, every number rounded to its uncertainty."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hotfuel.places import probe_of
from hotfuel.report import compare_words, words
from hotfuel.report.headline import BELOW, BOILED, CLOSE, NO_LIMIT, NOTHING, TOO_LITTLE, WITHIN_DOUBT, headline
from hotfuel.report.story_words import WHY
from hotfuel.study.evidence import verdicts
from hotfuel.study.evidence.looks import Sight
from hotfuel.study.fixes.answers import Answer
from hotfuel.study.fixes.summaries import MARGIN, PEAK, Cell
from hotfuel.study.line.exchanged import Exchanged
from hotfuel.study.line.parked import Apart
from hotfuel.units import Shown

CLOCK = words.Clock(True, 120)


def with_margin(drive, margin_degc, uncertainty_degc=2.0):
    """The drive's summary with another smallest margin, all other places far below their limit. Its uncertainty is 1.96 times the standard uncertainty."""
    summary = drive.summary()
    near = replace(
        summary.smallest, smallest_margin_degc=margin_degc, uncertainty_degc=uncertainty_degc, limit_there_degc=60.0,
        temperature_there_degc=60.0 - margin_degc, beyond_limit_s=780.0,
        beyond_doubt_s=780.0,
    )  # fmt: skip
    others = {name: replace(one, smallest_margin_degc=margin_degc + 30) for name, one in summary.places.items()}
    return replace(summary, smallest=near, places={**others, near.place: near})


@pytest.mark.parametrize(
    ("margin", "kind", "said"),
    [
        (-9.0, BOILED, "boiled at the"),
        (-4.0, BOILED, "boiled at the"),
        (-3.8, WITHIN_DOUBT, "reached its boiling limit, within the uncertainty"),
        (0.0, WITHIN_DOUBT, "reached its boiling limit, within the uncertainty"),
        (3.8, CLOSE, "It cannot be told whether the fuel boiled"),
        (4.0, BELOW, "stayed below its boiling limit at every probe"),
    ],
)
def test_boiled_only_beyond_the_uncertainty(drive, margin, kind, said, drive_told):
    for told in (drive_told, None):
        head = headline(with_margin(drive, margin), told, Shown("si"), CLOCK)
        assert head.kind == kind
        assert said in head.sentence
        assert ("boiled" in head.sentence) == (kind in (BOILED, CLOSE))
        assert "±4 °C" in head.basis  # 3.92, rounded to a degree
        assert not re.search(r"\d\.\d °C", head.sentence + head.basis)
        assert "margin" not in head.sentence + head.basis
        assert ("at its limit there" in head.basis) == (margin == 0)  # zero is not above it
        assert head.next_steps


def test_how_long_and_when(drive, drive_told):
    told = drive_told
    head = headline(with_margin(drive, -9.0), told, Shown("us"), CLOCK)
    assert "for 13 minutes" in head.sentence
    assert headline(with_margin(drive, -9.0), None, Shown("us"), CLOCK).sentence.endswith("for 13 minutes.")


def test_how_near_when_and_why(drive, drive_told):
    told = drive_told
    at, because = r"at \d\d:\d\d, it was ", rf", because {WHY[told.nearest.reason]}\."

    def why(margin_degc, known=told):
        return headline(with_margin(drive, margin_degc), known, Shown("si"), CLOCK).why

    assert re.fullmatch(rf"At its furthest, {at}9 °C beyond its limit \(±4 °C\){because}", why(-9.0))
    assert re.fullmatch(rf"At its nearest, {at}9 °C below its limit \(±4 °C\){because}", why(9.0))
    assert re.fullmatch(rf"At its furthest, {at}at its limit \(±4 °C\){because}", why(-0.2))
    assert why(-9.0, None) == ""
    assert why(-9.0, replace(told, nearest=replace(told.nearest, place="tank"))) == ""


def test_only_time_beyond_by_more_than_the_uncertainty_is_boiling(drive, drive_told):
    summary = with_margin(drive, -9.0)
    near = replace(summary.smallest, beyond_doubt_s=640.0)
    for told in (drive_told, None):
        head = headline(replace(summary, smallest=near), told, Shown("us"), CLOCK)
        assert "for 11 minutes" in head.sentence and "13" not in head.sentence
        assert "It was beyond its limit for 13 minutes, 11 minutes of that by more than its ±." in head.basis
    assert "after you parked" not in head.sentence


def test_a_time_that_is_much_shorter_than_the_one_beyond_the_limit_is_a_least_time(drive, drive_told):
    """Two sheets of one stop must not say 2 minutes and 7.7 min of the same place without a word."""
    summary = with_margin(drive, -9.0)
    for told in (drive_told, None):
        for surely_s, said in (
            (120.0, "for at least 2 minutes"),
            (780.0 / 1.26, "for at least 10 minutes"),
            (780.0 / 1.24, "for 10 minutes"),
        ):
            near = replace(summary.smallest, beyond_doubt_s=surely_s)
            assert said in headline(replace(summary, smallest=near), told, Shown("us"), CLOCK).sentence


def test_the_time_certainly_boiling_is_counted_reading_by_reading(drive):
    """Against a separate count: every reading counts for the step to the next one."""
    step_s = np.diff(drive.ticks.seconds, append=drive.ticks.seconds[-1])
    for name, place in drive.margin_table.places.items():
        surely = place.margin_degc + 1.96 * place.uncertainty_degc <= 0
        found = drive.summary().places[name]
        assert found.beyond_doubt_s == pytest.approx(step_s[surely].sum(), abs=0.5)
        assert found.beyond_doubt_s <= found.beyond_limit_s


@pytest.mark.parametrize(
    ("recorded_s", "hottest_degc", "said"),
    [
        (44.0, 20.0, "Too short to tell anything of hot fuel, 44 seconds in all"),
        (3600.0, 20.0, "The fuel never got hot, so nothing is shown"),
    ],
)
def test_a_short_or_cold_recording_gives_no_finding(drive, recorded_s, hottest_degc, said):
    summary = with_margin(drive, 30.0)
    little = replace(summary, recorded_s=recorded_s, hottest=replace(summary.hottest, hottest_degc=hottest_degc))
    head = headline(little, None, Shown("si"), CLOCK)
    assert head.kind == TOO_LITTLE
    assert head.sentence.startswith(said)
    assert "Nothing calls for a change" not in " ".join(head.next_steps)
    boiled = replace(little, smallest=with_margin(drive, -9.0).smallest)
    assert headline(boiled, None, Shown("si"), CLOCK).kind == BOILED  # trouble is trouble, however short


def test_nothing_known_is_reported(drive):
    summary = drive.summary()
    assert headline(replace(summary, smallest=None), None, Shown("us"), CLOCK).kind == NO_LIMIT
    said = headline(replace(summary, smallest=None), None, Shown("si"), CLOCK).sentence
    probes = sorted(
        (one for one in summary.places.values() if not one.place.endswith("_needle")), key=lambda one: -one.hottest_degc
    )
    assert len(probes) > 2
    told = [f"{one.hottest_degc:.0f} °C at the {words.place_words(one.place)}" for one in probes]
    assert said.endswith(f"the hottest fuel was {', '.join(told[:-1])} and {told[-1]}."), "of each place, not of one"
    nothing = headline(replace(summary, smallest=None, hottest=None), None, Shown("us"), CLOCK)
    assert nothing.kind == NOTHING
    assert "nothing can be said" in nothing.sentence


def test_readings_whose_description_is_missing_are_counted_and_kept(drive):
    summary = replace(drive.summary(), smallest=None, hottest=None)
    many, one = (headline(summary, None, Shown("si"), CLOCK, undescribed=count) for count in (4881, 1))
    assert many.kind == NOTHING
    assert many.sentence.startswith(
        "4881 readings are in this recording, but the board's description of its channels is missing or damaged"
    )
    assert one.sentence.startswith("1 reading is in this recording")
    assert "Keep the folder" in many.basis
    assert not any("plug" in step for step in many.next_steps)  # the probes were read


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.2, "1 second"),
        (45, "45 seconds"),
        (89, "89 seconds"),
        (782, "13 minutes"),
        (7500, "2 hours 5 minutes"),
        (7200, "2 hours"),
    ],
)
def test_times_in_words(seconds, said):
    assert words.spoken(seconds) == said


def answer(verdict, difference, low, high, quantity=PEAK):
    found = dict.fromkeys(Answer.__dataclass_fields__)
    found |= {
        "variant": "shield", "baseline": "bare", "cell": Cell(quantity, "pump", "hot soak"), "primary": True, "asked": True, "verdict": verdict,
        "estimate": Sight(0, 1, difference, low, high, np.nan, verdict, 0, 0),
    }  # fmt: skip
    return Answer(**found)


NAN = np.nan


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (answer(verdicts.LOWER, -5.6, -7.2, -3.9), "Shield lowered the fuel at the pump by 10 °F, between 7 °F and 13 °F."),
        (answer(verdicts.HIGHER, 5.6, 3.9, 7.2), "Shield raised the fuel at the pump by 10 °F, between 7 °F and 13 °F."),
        (
            answer(verdicts.HIGHER, 5.6, 3.9, 7.2, MARGIN),
            "Shield left 10 °F more room to boiling at the pump than bare, between 7 °F and 13 °F.",
        ),
        (
            answer(verdicts.NO_DIFFERENCE, 0.1, -1.0, 1.2),
            "Shield made no difference worth having at the pump: less than 5.4 °F either way.",
        ),
        (
            answer(verdicts.UNDECIDED, -1.0, -5.0, 3.0),
            "Whether shield helped at the pump is undecided: anything from 5 °F hotter to 9 °F cooler fits these runs.",
        ),
        (answer(verdicts.DESCRIBED, -1.0, NAN, NAN), "Whether shield helped at the pump is not known: too few runs to test it."),
        (answer(verdicts.NO_VERDICT, -1.0, NAN, NAN), "Whether shield helped at the pump cannot be told from these runs."),
    ],
)
def test_every_verdict_has_its_sentence(one, said):
    assert compare_words.headline(one, 3.0, Shown("us")) == said


def test_plus_is_more_margin():
    """A change of margin from -12.2 to -10.8 is more margin."""
    told = words.change(answer(verdicts.UNDECIDED, 1.4, -0.8, 2.0, MARGIN), Shown("si"))
    assert told == "1.4 °C more room (from 0.8 °C less room to 2.0 °C more room)"


def test_the_first_sentence_says_for_how_long_there_was_no_reading(drive):
    """Whatever the verdict, which holds for what was read only."""
    for margin, verdict in (
        (9.0, "; wherever it was read, the fuel stayed below its boiling limit, nearest at the "),
        (3.8, "It cannot be told whether"),
        (-9.0, "The fuel boiled"),
    ):
        summary = replace(with_margin(drive, margin), duration_s=2220.0)
        places = {name: replace(place, unread_s=1620.0) for name, place in summary.places.items()}
        alone = replace(summary, places={**summary.places, "tank": places["tank"]})
        for silent, said in (
            (
                replace(summary, places=places),
                "here was no reading at any probe for 27 of 37 minutes, and nothing is known of the fuel then",
            ),
            (alone, "here was no reading at the tank for 27 of 37 minutes, and nothing is known of the fuel there then"),
        ):
            head = headline(silent, None, Shown("si"), CLOCK)
            assert said in head.sentence and verdict in head.sentence
            assert head.sentence.count(". ") == 0
            assert "no reading" in head.next_steps[0]
            assert not any("Nothing calls for a change" in step for step in head.next_steps)
        never = replace(
            places["tank"], unread_s=2220.0, hottest_degc=NAN, smallest_margin_degc=NAN, doubt="its wires are exchanged"
        )
        head = headline(replace(alone, places={**summary.places, "tank": never}), None, Shown("si"), CLOCK)
        assert (
            "here was no true reading at the tank for all of the 37 minutes (its wires are exchanged), and nothing is known of the fuel there"
            in head.sentence
        )
        assert "there then" not in head.sentence
        short = replace(alone, places={**summary.places, "tank": replace(places["tank"], unread_s=50.0)})
        assert "no reading" not in headline(short, None, Shown("si"), CLOCK).sentence


def test_an_unusable_car_file_is_not_called_missing(drive):
    summary = replace(drive.summary(), smallest=None)
    refused = 'The car file was left out: station_pressure is "20 kPa".'
    head = headline(summary, None, Shown("us"), CLOCK, refused)
    assert head.kind == NO_LIMIT
    assert refused in head.basis and "missing" not in head.basis
    assert head.next_steps == ("Correct the car file, and make this page again.",)


def test_a_probe_that_reads_too_low_leaves_open_whether_the_fuel_boiled(drive, drive_told):
    told, summary = drive_told, with_margin(drive, 6.0)
    place = probe_of(summary.smallest.place)
    summary = replace(summary, places=summary.places | {summary.smallest.place: summary.smallest})
    low = headline(summary, replace(told, apart=Apart(place, -8.0)), Shown("si"), CLOCK)
    assert low.kind == CLOSE and low.sentence.startswith("It cannot be told whether the fuel boiled")
    assert "read 8 °C less than the others" in low.sentence and "ice water" in low.next_steps[0]
    high = headline(summary, replace(told, apart=Apart(place, 8.0)), Shown("si"), CLOCK)
    assert (
        high.kind == BELOW
        and "read 8 °C more than the others, which agreed: it was still warm from an earlier drive, or" in high.basis
    )
    boiled = headline(with_margin(drive, -9.0), replace(told, apart=Apart(place, -8.0)), Shown("si"), CLOCK)
    assert boiled.kind == BOILED


def test_a_probe_that_reads_too_high_is_named_in_the_first_sentence(drive, drive_told):
    told, summary = drive_told, with_margin(drive, -9.0)
    place = probe_of(summary.smallest.place)
    assert headline(summary, replace(told, apart=Apart(place, 8.0)), Shown("si"), CLOCK).sentence.endswith(
        ", if the probe there reads right."
    )
    assert (
        "reads right"
        not in headline(with_margin(drive, -15.0), replace(told, apart=Apart(place, 8.0)), Shown("si"), CLOCK).sentence
    )


@pytest.mark.parametrize(
    ("margin", "by", "said"),
    [
        (-15.0, 8.0, "; the probe at the {} may read 8 °C too high."),  # boiled all the same, for another time
        (-9.0, -8.0, "; the probe at the {} may read 8 °C too low."),
        (2.0, 8.0, "; the probe at the {} may read 8 °C too high."),
        (20.0, 8.0, "; the probe at the {} may read 8 °C too high."),
        (20.0, -8.0, "; the probe at the {} may read 8 °C too low."),
    ],
)
def test_a_number_that_rests_on_a_probe_apart_says_so_in_its_sentence(drive, margin, by, said, drive_told):
    told, summary = drive_told, with_margin(drive, margin)
    place = probe_of(summary.smallest.place)
    sentence = headline(summary, replace(told, apart=Apart(place, by)), Shown("si"), CLOCK).sentence
    assert sentence.endswith(said.format(words.place_words(place)))
    other = next(name for name in summary.places if probe_of(name) != place)  # 30 °C further from its limit
    assert "may read" not in headline(summary, replace(told, apart=Apart(probe_of(other), by)), Shown("si"), CLOCK).sentence


def test_a_place_whose_probe_reads_low_may_be_the_nearest(drive, drive_told):
    summary = with_margin(drive, 20.0)
    other = next(name for name in summary.places if probe_of(name) != probe_of(summary.smallest.place))
    told = replace(drive_told, apart=Apart(probe_of(other), -31.0))
    sentence = headline(summary, told, Shown("si"), CLOCK).sentence
    assert sentence.endswith(f"; the probe at the {words.place_words(probe_of(other))} may read 31 °C too low.")


def test_a_suspected_probe_is_said_whatever_the_verdict(drive):
    """Not proven, so its numbers count; but each of these rests on all that was read."""
    for margin in (9.0, 3.8, 0.0, -9.0):
        summary = replace(with_margin(drive, margin), duration_s=2220.0)
        tank = replace(summary.places["tank"], suspected="it fell while the others rose", suspected_s=720.0)
        summary = replace(summary, places={**summary.places, "tank": tank})
        head = headline(summary, None, Shown("si"), CLOCK)
        assert head.sentence.endswith(
            "; the probe may not have read the fuel at the tank for 12 of 37 minutes (it fell while the others rose)."
        )
        assert head.next_steps[0].startswith("Warm the tip of the probe at the tank by hand")
        assert not any("Nothing calls for a change" in step for step in head.next_steps)
        brief = replace(summary, places={**summary.places, "tank": replace(tank, suspected_s=50.0)})
        assert "may not" not in headline(brief, None, Shown("si"), CLOCK).sentence
        silent = replace(summary, places={**summary.places, "tank": replace(tank, unread_s=300.0)})
        both = headline(silent, None, Shown("si"), CLOCK)
        assert "no reading at the tank for 5 of 37 minutes" in both.sentence and "may not have read" in both.sentence
        assert "no reading" in both.next_steps[0] and "Warm the tip" in both.next_steps[1]


def test_probes_that_look_swapped_are_said_in_the_first_sentence(drive, drive_told):
    told = replace(drive_told, exchanged=Exchanged("tank", "carb_inlet", 23.2, 1.4))
    head = headline(with_margin(drive, -9.0), told, Shown("si"), CLOCK)
    assert head.sentence.endswith(", unless two probes are swapped.")
    assert "The probe at the tank changed by 23 °C within 3 minutes, the one at the carb inlet by 1 °C" in head.basis
    assert "or the tank was nearly empty: then sloshing bares its probe, and a return warms the little that is left" in head.basis
    assert head.next_steps[0].startswith("Warm one probe's tip")


def test_a_tank_apart_from_the_rest_may_truly_be_so(drive, drive_told):
    told = replace(drive_told, apart=Apart("tank", -8.0, tank=True))
    basis = headline(with_margin(drive, 9.0), told, Shown("si"), CLOCK).basis
    assert (
        "read 8 °C less than the others, which agreed: the tank's fuel follows the air slowly and may truly have been so, or the probe reads wrong"
        in basis
    )
