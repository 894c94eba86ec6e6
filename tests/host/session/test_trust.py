"""Readings that look like temperatures and are none: a value that stands still, a shorted lead, exchanged wires; and what resembles them and is true."""

import numpy as np
import pytest
from hotfuel import car, session
from hotfuel.report.headline import headline
from hotfuel.report.session_notes import all_notes
from hotfuel.report.words import Clock
from hotfuel.session import metadata
from hotfuel.study import story
from hotfuel.temperature.counts import REVERSED, SHORTED, STUCK
from hotfuel.units import Shown

STEP_S = 0.5
TIMES = np.arange(0, 1200, STEP_S)
COLD = 30 + TIMES / 400  # the amplifiers' box becomes warmer by 3 degC
WARM = 20 * np.sin(TIMES / 150) ** 2  # the line's fuel becomes hot and cools again, four times
NOISE_DEGC = 0.05


def recorded(folder, synthetic, degc, noise_degc=NOISE_DEGC, cold=COLD, text=car.EXAMPLE):
    """A session of tank, pump and inlet as read, degC (n,) or a number each."""
    made = synthetic.Recording(period_ms=round(1000 * STEP_S))
    made.anchor(0.0)
    random = np.random.default_rng(1)
    values = np.stack([np.broadcast_to(one, TIMES.shape) for one in degc], axis=-1)
    values = values + random.normal(0, 1, values.shape) * np.broadcast_to(noise_degc, TIMES.shape)[:, None]
    for time_s, codes, cold_degc in zip(TIMES.tolist(), synthetic.codes_of(values, cold[:, None]), cold.tolist(), strict=True):
        made.coded(time_s, codes, cold_degc)
    (folder / "wire.log").write_bytes(made.data)
    return session.open(folder, car=text)


def doubts(found, place):
    """{reason: from when to when, s} of a place."""
    column = found.reasons()[f"{place}_reason"].to_numpy()
    return {int(why): tuple(TIMES[np.flatnonzero(column == why)[[0, -1]]]) for why in np.unique(column) if why}


def held(values, every):
    """Each value read `every` times, as of an amplifier that converts more slowly than it is read."""
    return np.repeat(values[::every], every)[: len(values)]


def noisy(values, seed=7):
    return values + np.random.default_rng(seed).normal(0, NOISE_DEGC, TIMES.shape)


@pytest.mark.parametrize("all_of_them", [False, True])
def test_a_value_that_stands_still_is_no_reading(tmp_path, synthetic, all_of_them):
    places = [noisy(at + share * WARM, seed) for seed, (at, share) in enumerate(((32, 0.1), (34, 1), (35, 1)))]
    for values in places if all_of_them else places[1:2]:
        values[TIMES > 200] = values[400]
    found = recorded(tmp_path, synthetic, places, 0.0, cold=30 + 0 * TIMES)
    for place in ("tank", "pump", "carb_inlet"):
        wanted = {STUCK: (200, TIMES[-1])} if all_of_them or place == "pump" else {}
        assert doubts(found, place) == wanted
    head = headline(found.summary(), story.tell(found), Shown("si"), Clock(True, 0))
    who = "any probe for 17 of 20 minutes (each amplifier" if all_of_them else "the pump for 17 of 20 minutes (its amplifier"
    assert f"here was no true reading at {who} repeated one value)" in head.sentence
    assert any(note.startswith("Pump, ") and "digit for digit" in note for note in all_notes(found))


@pytest.mark.parametrize("noise", [0.0, NOISE_DEGC], ids=["made without noise", "noise"])
def test_what_is_steady_in_truth_is_believed(tmp_path, synthetic, noise):
    """A tank as warm as the box, another place that often stands on a plateau, and one as cold as a cellar."""
    found = recorded(tmp_path, synthetic, (31.5, 40 + np.minimum(WARM * np.cos(TIMES / 5), 10.0), 12.0), noise)
    assert [doubts(found, place) for place in ("tank", "pump", "carb_inlet")] == [{}, {}, {}]


def test_a_slow_amplifier_repeats_and_is_believed(tmp_path, synthetic):
    found = recorded(tmp_path, synthetic, [held(noisy(at + WARM), 4) for at in (32, 36, 38)], 0.0)
    assert [doubts(found, place) for place in ("tank", "pump", "carb_inlet")] == [{}, {}, {}]


@pytest.mark.parametrize("suddenly", [True, False])
def test_a_shorted_lead_is_no_reading(tmp_path, synthetic, suddenly):
    """It reads its amplifier: from one reading to the next, or all along, where the other places are far from that."""
    pump = np.where((TIMES > 300) & (TIMES < 420), COLD, 40 + WARM) if suddenly else COLD
    found = recorded(tmp_path, synthetic, (35, pump, 45 + WARM))
    assert doubts(found, "tank") == doubts(found, "carb_inlet") == {}
    told = doubts(found, "pump")
    assert list(told) == [SHORTED]
    assert told[SHORTED] == pytest.approx((300, 420) if suddenly else (0, TIMES[-1]), abs=1.0)
    assert any(note.startswith("Pump, ") and "shorted lead" in note for note in all_notes(found))


def test_a_short_without_any_noise_is_no_amplifier_that_stopped(tmp_path, synthetic):
    found = recorded(
        tmp_path, synthetic, (noisy(35 + 0 * TIMES), np.where(TIMES > 300, COLD, noisy(40 + WARM)), noisy(45 + WARM)), 0.0
    )
    assert list(doubts(found, "pump")) == [SHORTED]


@pytest.mark.parametrize("fix", ["", "ice can"])
def test_exchanged_wires_are_no_reading_unless_something_cools_the_fuel(tmp_path, synthetic, fix):
    metadata.write(tmp_path / "session.json", {"fix": fix} if fix else {})
    found = recorded(tmp_path, synthetic, (33, 2 * COLD - (40 + WARM), 42 + 0.9 * WARM))
    assert doubts(found, "tank") == doubts(found, "carb_inlet") == {}
    assert doubts(found, "pump") == ({} if fix else {REVERSED: (0, TIMES[-1])})
    told = story.tell(found)
    if not fix:
        assert (
            "(it read the wrong way round, as exchanged wires do)"
            in headline(found.summary(), told, Shown("si"), Clock(True, 0)).sentence
        )
        assert "pump" not in {place for one in told.sections for place in (one.before, one.place)}, (
            "no cause from a place in doubt"
        )


NAMES = ("tank", "pump", "carb_inlet")
DRIFT = TIMES / TIMES[-1]


def spiked(values, by):
    """One reading that ignition noise moved."""
    values = np.array(np.broadcast_to(values, TIMES.shape))
    values[400] += by
    return values


# name: (tank, pump and inlet, noise, the box)
INNOCENT = {
    "a cool tank while the box warms": ((10, 40 + 7 * DRIFT, 42 + 0.2 * WARM), NOISE_DEGC, 12 + 16 * DRIFT),
    "a tank that warms a little while the box warms more": (
        (10 + 2 * DRIFT, 30 + 17 * DRIFT, 32 + 0.9 * WARM),
        NOISE_DEGC,
        12 + 16 * DRIFT,
    ),
    "a tank that cools while the engine warms up": (
        (10 - 6 * DRIFT, 20 + 30 * DRIFT, 22 + 30 * DRIFT),
        NOISE_DEGC,
        20 + 3 * DRIFT,
    ),
    "a cool tank and a cabin heater by turns": ((10, 40 + WARM, 42 + 0.9 * WARM), NOISE_DEGC, 20 + 0.4 * WARM),
    "outside air beside a warm box": ((10, 0 - DRIFT, 42 + WARM), NOISE_DEGC, 12 + 16 * DRIFT),
    "a tank beside the box": ((COLD + 0.1, 45, 46), NOISE_DEGC, COLD),
    "a tank at the box's own temperature": ((COLD, 45, 46 + WARM), NOISE_DEGC, COLD),
    "an inlet near the box, to a tenth": ((35, COLD + 0.1 * np.sin(TIMES / 90), 45 + WARM), NOISE_DEGC, COLD),
    "a car that cooled overnight but for one place": (
        (20 - 3 * DRIFT, 20 - 3 * DRIFT, 25.5 - 3 * DRIFT),
        NOISE_DEGC,
        20 - 3 * DRIFT,
    ),
    "all at one temperature": ((20, 20, 20), NOISE_DEGC, 20 + 0 * TIMES),
    "all at one temperature, without noise": ((20, 20, 20), 0.0, 20 + 0 * TIMES),
    "a car at one temperature and a small spike": ((spiked(20, 6), 20, 20), NOISE_DEGC, 20 + 0 * TIMES),
    "a car at one temperature and a large spike": ((spiked(20, -20), 20, 20), NOISE_DEGC, 20 + 0 * TIMES),
    "a spike where another place is hot": ((spiked(COLD, 20), COLD, 45 + WARM), NOISE_DEGC, COLD),
    "steady places beside one that flutters": ((32, noisy(40, 3) + 0.3 * np.sin(1.7 * TIMES), 38), 0.0, 30 + 0 * TIMES),
    "noise that ends when a cold engine stops": ((20, 20, 20), np.where(TIMES < 300, NOISE_DEGC, 0.0), 20 + 0 * TIMES),
    "noise that ends while the box goes on": ((31.5, 40 + WARM, 42), np.where(TIMES < 300, NOISE_DEGC, 0.0), COLD),
    "fuel as warm as the box arrives": ((COLD, COLD + 20 * np.exp(-np.maximum(TIMES - 300, 0) / 2), 45), NOISE_DEGC, COLD),
}


@pytest.fixture(scope="module")
def innocent(tmp_path_factory, synthetic):
    """The session of a name, made once."""
    made = {}

    def of(name):
        if name not in made:
            places, noise, cold = INNOCENT[name]
            made[name] = recorded(tmp_path_factory.mktemp("innocent"), synthetic, places, noise, cold=cold)
        return made[name]

    return of


@pytest.mark.parametrize("name", INNOCENT)
def test_what_is_true_keeps_its_numbers(innocent, name):
    """A reading taken away is a margin taken away: of all of these something was told to be a fault."""
    found = innocent(name)
    assert {place: doubts(found, place) for place in NAMES} == {place: {} for place in NAMES}


@pytest.mark.parametrize("name", [name for name in INNOCENT if "near the box" not in name and "noise that ends when" not in name])
def test_what_is_true_is_not_even_suspected(innocent, name):
    assert innocent(name).ticks.suspected == ()


def test_what_may_be_a_short_is_a_note_and_no_cause_is_sought_in_it(innocent):
    found = innocent("an inlet near the box, to a tenth")
    assert [(one.place, one.why) for one in found.ticks.suspected] == [("pump", SHORTED)]
    notes = [note for note in all_notes(found) if "Warm the probe's tip by hand" in note]
    assert len(notes) == 1
    assert notes[0].startswith("Pump, ")
    told = story.tell(found)
    assert "pump" not in {place for one in told.sections for place in (one.before, one.place)}
    assert np.isfinite(found.margins()["pump_margin_degc"]).all()


def test_one_place_that_cools_while_the_others_warm_and_warms_while_they_cool_is_only_suspected(tmp_path, synthetic):
    """Ice that nobody named: against the others both ways, though not as far as exchanged wires would be."""
    found = recorded(tmp_path, synthetic, (35, 12 - 0.1 * WARM, 60 + WARM))
    assert [doubts(found, place) for place in NAMES] == [{}, {}, {}]
    assert [(one.place, one.why) for one in found.ticks.suspected] == [("pump", REVERSED)]


def test_exchanged_wires_in_a_box_that_warms_are_found(tmp_path, synthetic):
    cold = 14 + 10 * DRIFT
    found = recorded(tmp_path, synthetic, (15, 2 * cold - (40 + WARM), 42 + 0.9 * WARM), cold=cold)
    assert [list(doubts(found, place)) for place in NAMES] == [[], [REVERSED], []]


@pytest.mark.parametrize(
    ("said", "kept"),
    [('fix = "ice can"', True), ('fix = "coolant hose"', False), ('fix = "intercooler"', False), ('fix = "cool can"', True)],
)
def test_the_car_file_says_what_cools_the_fuel(tmp_path, synthetic, said, kept):
    text = said + "\n" + car.EXAMPLE
    found = recorded(tmp_path, synthetic, (33, 2 * COLD - (40 + WARM), 42 + 0.9 * WARM), text=text)
    assert list(doubts(found, "pump")) == ([] if kept else [REVERSED])


def test_a_short_that_a_spike_interrupts_goes_on_being_one(tmp_path, synthetic):
    found = recorded(tmp_path, synthetic, (35, spiked(np.where(TIMES > 100, COLD, 40 + WARM), 6), 45 + WARM))
    assert doubts(found, "pump")[SHORTED] == pytest.approx((100, TIMES[-1]), abs=1.0)


@pytest.mark.parametrize(("outside_degc", "why"), [(-10.0, {}), (32.0, {REVERSED: (0, TIMES[-1])})])
def test_winter_air_may_make_a_place_colder_than_all_others(tmp_path, synthetic, outside_degc, why):
    """Where the flow rises, a pump in the wind and a hot inlet both come nearer the tank: against each other both ways, as exchanged wires."""
    metadata.write(tmp_path / "session.json", {"ambient_degc": outside_degc})
    found = recorded(tmp_path, synthetic, (20, 10 - 0.6 * WARM, 45 + WARM))
    assert doubts(found, "pump") == why
    assert {one.place for one in found.ticks.suspected} == (set() if why else {"pump"})
