"""Before a run starts, a car that is as cold as the air shows what its probes read wrong: on the first run of a day, and on later ones that began cold."""

from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.study.drive.course import Course
from hotfuel.study.fixes.bad_runs import cold_readings

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
