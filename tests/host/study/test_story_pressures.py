"""What the pressures show by themselves is in the story."""

import numpy as np
from driven import Driven
from hotfuel.report.story_words import sentences
from hotfuel.simulator.scenarios import scenarios
from hotfuel.study.drive.course import of_session
from hotfuel.study.drive.phases import SOAK, phases
from hotfuel.study.story import tell
from hotfuel.units import Shown


def test_trapped_fuel_after_a_stop_is_reported_with_its_caution():
    session = Driven(scenarios()["as built"])
    inputs = session.inputs()
    standing = (inputs["running"] == 0).to_numpy()
    stop = int(np.flatnonzero(standing & (np.arange(len(standing)) > 60))[0])
    pressure = inputs["fuel_pressure_kpa"].to_numpy(copy=True)
    pressure[stop:] = np.nan
    pressure[stop : stop + 300] = 20.0 + np.linspace(0, 9, 300)
    session._inputs["fuel_pressure_kpa"] = pressure
    for system, size in (("si", "9.0 kPa"), ("us", "1.3 psi")):
        said = [one for one in sentences(tell(session), Shown(system)) if "line pressure rose" in one]
        assert len(said) == 1
        assert size in said[0]
    assert "look for leaks" in said[0]


def test_trapped_fuel_in_a_hot_soak_that_was_recorded_alone():
    course = of_session(Driven(scenarios()["as built"]))
    stop = next(phase for phase in phases(course) if phase.kind == SOAK)
    soak = course.cut(stop.start_s, stop.end_s)
    for key_on in (0.0, 1.0):  # a stall leaves it on
        soak.inputs["ignition"][:] = key_on
        soak.inputs["running"][:] = 0.0
        soak.inputs["fuel_pressure_kpa"][:] = 20.0 + np.linspace(0, 9, len(soak.time_s))
        (said,) = [one for one in sentences(tell(soak), Shown("si")) if "line pressure rose" in one]
        assert "9.0 kPa" in said and "look for leaks" in said


def test_a_line_that_bleeds_off_is_not_mentioned():
    session = Driven(scenarios()["as built"])
    inputs = session.inputs()
    pressure = np.where(inputs["running"] == 1, 38.0, 38.0 * np.exp(-np.arange(len(inputs)) / 100.0))
    session._inputs["fuel_pressure_kpa"] = np.where(inputs["running"] == 1, 38.0, np.minimum.accumulate(pressure))
    assert not [one for one in sentences(tell(session), Shown("si")) if "line pressure rose" in one]
