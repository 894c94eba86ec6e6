"""Every place that boiled is named and treated, driving before parking."""

from dataclasses import replace

from hotfuel.report import words
from hotfuel.report.headline import BOILED, WITHIN_DOUBT, headline
from hotfuel.study.drive.phases import COLD_START, DRIVE, SOAK, Phase, PlacePhase
from hotfuel.units import Shown

CLOCK = words.Clock(True, 120)


def phase(kind, start_s, end_s, **places):
    """A phase in which each place named was beyond its limit for so many seconds, by so many degrees (±2)."""
    there = {
        name: PlacePhase(20.0, 20.0, 20.0, 0.0, -by_degc, start_s, 0.0, act_s, 1.0, uncertainty_degc=1.0)
        for name, (act_s, by_degc) in places.items()
    }
    return Phase(kind, kind, start_s, end_s, "high", there)


def two_places(drive, pump_degc, inlet_degc):
    """The drive's summary with these margins (±2) at pump and carburettor inlet."""
    summary = drive.summary()
    places = {name: replace(one, smallest_margin_degc=50.0) for name, one in summary.places.items()}
    for name, margin_degc, beyond_s, surely_s in (
        ("pump", pump_degc, 2880.0, 1820.0),
        ("carb_inlet", inlet_degc, 1180.0, 1100.0),
    ):
        places[name] = replace(
            places[name], smallest_margin_degc=margin_degc, uncertainty_degc=1.0, beyond_limit_s=beyond_s, beyond_doubt_s=surely_s,
            limit_there_degc=50.0, temperature_there_degc=50.0 - margin_degc, smallest_margin_at=summary.smallest.smallest_margin_at,
        )  # fmt: skip
    return replace(summary, places=places, smallest=min(places.values(), key=lambda one: one.smallest_margin_degc))


def test_every_place_that_boiled_is_named_and_treated_and_driving_comes_first(drive, drive_told):
    """The inlet went three times as far, but only parked; the pump boiled on the road."""
    told = replace(
        drive_told,
        phases=(
            phase(DRIVE, 0, 1600, pump=(1600, 17)), phase(SOAK, 1600, 2400, pump=(720, 27), carb_inlet=(900, 58)),
            phase(DRIVE, 2400, 3000, pump=(560, 17), carb_inlet=(105, 19)),
        ),
    )  # fmt: skip
    head = headline(two_places(drive, -27.0, -58.0), told, Shown("si"), CLOCK)
    assert head.kind == BOILED
    assert head.sentence == (
        "The fuel boiled at the pump for at least 30 minutes in all, most of it while driving, "
        "and at the carb inlet for 18 minutes in all, most of it while you were parked, some while driving."
    )
    assert head.places == ("pump", "carb_inlet")
    assert "before the pump and the carb inlet" in head.next_steps[0]
    assert "stopped engine away from the carb inlet:" in head.next_steps[1]
    assert head.basis.count("above its limit there") == 2 and "for 48 minutes" in head.basis
    assert head.basis.count("95 of 100 cases") == 1


def test_the_inlet_that_boiled_only_parked_gets_the_step_for_a_stop(drive, drive_told):
    told = replace(drive_told, phases=(phase(DRIVE, 0, 1600, pump=(1600, 17)), phase(SOAK, 1600, 2400, carb_inlet=(720, 58))))
    head = headline(two_places(drive, -27.0, -58.0), told, Shown("si"), CLOCK)
    assert [next(name for name in ("pump", "carb inlet") if name in step) for step in head.next_steps[:2]] == [
        "pump",
        "carb inlet",
    ]
    assert "stopped engine away from the carb inlet" in head.next_steps[1]


def test_a_place_that_may_have_boiled_is_named_after_those_that_did(drive, drive_told):
    told = replace(drive_told, phases=(phase(SOAK, 0, 800, pump=(700, 9), carb_inlet=(500, 1)),))
    head = headline(two_places(drive, -9.0, -1.0), told, Shown("si"), CLOCK)
    assert head.sentence.endswith("while you were parked, and may have boiled at the carb inlet.")
    assert not any("carb inlet" in step for step in head.next_steps)
    doubtful = headline(two_places(drive, -1.5, -1.0), told, Shown("si"), CLOCK)
    assert doubtful.kind == WITHIN_DOUBT
    assert doubtful.sentence == "The fuel at the pump and at the carb inlet reached its boiling limit, within the uncertainty."
    assert "pump and the carb inlet" in doubtful.next_steps[0]


def test_fuel_that_boils_before_the_engine_heats_it_is_to_be_changed_first(drive, drive_told):
    told = replace(drive_told, phases=(phase(COLD_START, 0, 180, pump=(180, 17)), phase(DRIVE, 180, 2000, pump=(1800, 17))))
    step = headline(two_places(drive, -27.0, 20.0), told, Shown("si"), CLOCK).next_steps[0]
    assert (
        step
        == "The pump was beyond its limit at the start already, with fuel at 20 °C: try a fuel of lower vapour pressure first."
    )
