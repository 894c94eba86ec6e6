"""Before a run starts, a car that is as cold as the air shows what its probes read wrong: on the first run of a day, and on later ones that began cold."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.report import compare_notes, compare_words
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import PULL
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.cold_starts import cold_notes, cold_readings, perhaps_high
from hotfuel.study.fixes.compare import compare_runs
from hotfuel.study.fixes.difference import estimated
from hotfuel.study.fixes.probe_notes import PerhapsHigh, ProbeMoved, ProbeOffOnOneSide
from hotfuel.study.fixes.summaries import MEAN, Cell, Run
from hotfuel.units import Shown

CAR = car_file.load(car_file.EXAMPLE)
PLACES = ("tank", "pump", "carb_inlet")
AIR_DEGC = 25.0


def began(hour, tank=25.0, pump=25.0, carb_inlet=25.0, **more):
    """What cold_readings reads of a stretch: a course that began on one day at that hour, a minute before its engine ran."""
    degc = {place: np.full(60, value) for place, value in zip(PLACES, (tank, pump, carb_inlet), strict=True)}
    known = {"car": CAR, "ambient_degc": AIR_DEGC, "utc_offset_min": 0} | more
    return SimpleNamespace(
        course=Course(f"{hour}", np.arange(60.0), degc, {}, {"running": np.zeros(60)}, (), 1_780_300_800.0 + 3600 * hour, **known)
    )


def test_a_later_run_that_began_as_cold_as_the_air_shows_a_probe_that_reads_low():
    """A probe 4 degC low on one side of six cold starts made "4.1 degC cooler, between 3.3 and 4.8" of a change that did nothing."""
    read = cold_readings([began(0, tank=27.2), began(1, tank=27.2, carb_inlet=21.0), began(2, pump=24.4)], PLACES)
    assert [one and one["carb_inlet"] for one in read] == [pytest.approx(0), pytest.approx(-4.0), pytest.approx(0.0)]


@pytest.mark.parametrize(
    "warm",
    [
        {"carb_inlet": 29.0},  # may still be warm from the run before: a shield that keeps it cooler is no probe error
        {"pump": 30.0, "carb_inlet": 22.0},
        {"pump": 21.0, "carb_inlet": 21.0},  # both colder than the air: it is the air that is not known well
    ],
)
def test_a_later_run_that_may_not_be_cold_shows_nothing(warm):
    assert cold_readings([began(0), began(1, **warm)], PLACES)[1] is None


def test_without_a_known_outside_air_only_the_first_run_of_a_day_counts():
    for unknown in ({"ambient_guessed": True}, {"ambient_degc": np.nan}, {"car": None}):
        read = cold_readings([began(0, **unknown), began(1, carb_inlet=21.0, **unknown)], PLACES)
        assert read[0] is not None and read[1] is None


def starts(offs, falling_s=np.inf, place="carb_inlet", **more):
    """The notes on later starts of one day: {name: how much warmer than the air that place is}, cooling by 1/e in falling_s; the run at 0 is its own."""
    made = []
    rng = np.random.default_rng(1)
    for hour, (name, off) in enumerate(offs.items()):
        one = began(hour, tank=27.0, **{place: AIR_DEGC} | more)
        one.course.degc[place][:] += off * np.exp(-one.course.time_s / falling_s) + 0.05 * rng.standard_normal(60)
        made.append(SimpleNamespace(variant=name.rstrip("0123456789"), course=replace(one.course, name=name)))
    return [compare_notes.note(one, Shown("si")) for one in perhaps_high(made, PLACES, cold_readings(made, PLACES))[1]]


def test_a_place_that_one_side_alone_finds_warm_may_be_a_probe_that_reads_high():
    """A probe 4 degC high on one side made or hid a fix of 4 degC without a word; as it may truly be warm, nothing is corrected, but nothing decided by it."""
    offs = {"before1": 0.0, "after1": 4.0, "after2": 4.0, "before2": 0.1, "after3": 4.0}
    assert starts(offs) == [
        "after1, after2 and after3 began with the carb inlet 4.0 °C warmer than the outside air and the pump as cold as the air, which no run with before did: "
        "either the carb inlet was still warm from the run before or from the sun, or its probe reads high. None to all of that may be in the difference, "
        "which the interval allows for; begin a run of each side with the car cold."
    ]


def test_an_answer_that_rests_on_such_a_probe_is_followed_by_it():
    """It stood among the conditions, far behind the number that rests on it."""
    cell = Cell(MEAN, "carb_inlet", PULL)
    runs = [
        Run(f"{name}{i}", name, f"{name}{i}", {cell: value + 0.1 * i}, {}, start_s=1e9 + 3600 * (2 * i + (name == "after")))
        for name, value in (("before", 30.0), ("after", 24.0))
        for i in range(4)
    ]
    high = PerhapsHigh(("before1", "before2"), "carb_inlet", (4.0, 4.0), ("pump",), "after", "before")
    moved = ProbeMoved("before", "after", "carb_inlet", -3.0)
    unseen = ProbeOffOnOneSide("before", "after", "carb_inlet", 2.0)
    elsewhere = replace(high, place="pump")
    plain = compare_runs(runs, "before", cell)
    for notes, said in (
        ([high], ["which may read 4.0 °C too high in the runs with before: the interval allows for it."]),
        ([moved], ["which read 3.0 °C less beside the others with after than with before while all were cold: the interval"]),
        (
            [unseen],
            ["which read 2.0 °C apart from the others with before while all were cold, and was not seen cold with after:"],
        ),
        ([elsewhere], []),
        ([replace(high, other="third")], []),
    ):
        finding = compare_words.finding(replace(plain, conditions=tuple(notes)), Shown("si"))
        (headline,) = compare_words.headlines(replace(plain, conditions=tuple(notes)), None, Shown("si"))
        assert finding.count("That rests on the probe at the carb inlet, ") == len(said)
        assert all(one in finding for one in said)
        assert headline.endswith(", if the probe there reads right.") == bool(said)
        steps = compare_words.next_steps(replace(plain, conditions=tuple(notes)), None, ())
        assert ("Check the probe at the carb inlet in ice water and in boiling water before you rely on this." in steps) == bool(
            said
        )
    answer = compare_words.finding(plain, Shown("si"))
    assert compare_words.finding(replace(plain, conditions=(high,)), Shown("si")).startswith(f"{answer} That rests on")


def test_what_may_be_a_probe_that_reads_high_decides_no_difference_of_its_size():
    cell = Cell(MEAN, "carb_inlet", PULL)

    def side(variant, values, high):
        """Runs of one day, of which those not the first began with the inlet `high` warmer than the air."""
        return [
            Run(f"{variant}{i}", variant, f"{variant}{i}", {cell: value}, {}, perhaps_degc={"carb_inlet": high} if high else {})
            for i, value in enumerate(values)
        ]

    before, after = (30.0, 30.4, 29.8), (34.1, 34.3, 33.9)
    seen = estimated(side("before", before, 0.0), side("after", after, 4.0), cell)
    assert verdicts.judge(estimated(side("before", before, 0.0), side("after", after, 0.0), cell), 3.0) == verdicts.HIGHER
    assert verdicts.judge(seen, 3.0) == verdicts.UNDECIDED
    assert seen.difference == pytest.approx(4.03, abs=0.01), "not corrected"
    large = estimated(side("before", before, 0.0), side("after", np.array(after) + 6.0, 4.0), cell)
    assert verdicts.judge(large, 3.0) == verdicts.HIGHER, "what is much larger is still decided"


@pytest.mark.parametrize(
    ("offs", "more"),
    [
        (
            {"before1": 0.0, "after1": 4.0, "before2": 4.0, "after2": 4.0},
            {},
        ),  # both sides find it warm: it drops out, or it is warm
        ({"before1": 0.0, "after1": 4.0, "after2": 7.0}, {}),  # not an error that stays
        ({"before1": 0.0, "after1": 4.0, "after2": 0.3}, {}),
        ({"before1": 0.0, "after1": 4.0, "after2": 4.0}, {"pump": 30.0}),  # a car still warm everywhere
        ({"before1": 0.0, "after1": 4.0, "after2": 4.0}, {"falling_s": 1800.0}),  # it cools while it is looked at
        ({"before1": 0.0, "after1": 2.0, "after2": 2.0}, {}),
        ({"after1": 0.0, "before1": 0.0, "after2": 4.0}, {}),  # the day's first start of that side saw it right
    ],
)
def test_a_place_that_may_well_be_warm_is_not_told_as_a_probe(offs, more):
    assert starts(offs, **more) == []


def told(offs, place):
    """The sentences about runs of two sides, before and after: {name: off, degC, at that place}."""
    runs = [SimpleNamespace(variant=name.rstrip("0123456789"), course=SimpleNamespace(name=name, car=CAR)) for name in offs]
    cold = [None if off is None else {"pump": 0.1, place: off} for off in offs.values()]
    return [compare_notes.note(one, Shown("si")) for one in cold_notes(runs, cold)]


def test_all_runs_of_a_side_with_one_probe_off_are_told_in_one_line():
    offs = {"after1": -4.0, "before1": 0.1, "after2": -3.9, "before2": None, "after3": -4.1}
    assert told(offs, "carb_inlet") == [
        "after1, after2 and after3 read between 3.9 °C and 4.1 °C less at the carb inlet than at the other places while all were cold: what they show there "
        "may be off by as much; between sides that drops out only as long as it stays so."
    ]
    (alone,) = told({"after1": -4.0, "before1": 0.1}, "carb_inlet")
    assert alone.startswith(
        "after1 read 4.0 °C less at the carb inlet than at the other places while all were cold: what it shows there may"
    )
    (same,) = told({f"after{i}": -4.01 for i in range(5)}, "carb_inlet")
    assert same.startswith("after0, after1, after2 and 2 more read 4.0 °C less at the carb inlet")


def test_a_tank_still_warm_from_the_sun_is_not_told_as_a_probe_that_is_off():
    warm, cool = told({"before1": 7.1, "before2": 6.6, "after1": -2.9, "before3": 6.9}, "tank")
    assert warm == (
        "before1, before2 and before3 read between 6.6 °C and 7.1 °C more at the tank than at the other places, which were cold: a tank follows the air slowly "
        "and may truly have been warmer, or its probe may be off by as much; between sides either drops out only as long as it stays so."
    )
    assert cool.startswith("after1 read 2.9 °C less at the tank") and "may truly have been colder, or its probe" in cool
    (both,) = told({"after1": -2.9, "after2": 3.1}, "tank")
    assert "read between 2.9 °C less and 3.1 °C more at the tank" in both and "may truly have been warmer or colder" in both
