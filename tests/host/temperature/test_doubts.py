"""A calibration that is applied but implausible is reported."""

import datetime

import pytest
from hotfuel import car
from hotfuel.temperature.accuracy import tolerance_degc
from hotfuel.temperature.calibration import Calibration, ChannelCalibration
from hotfuel.temperature.doubts import doubts
from hotfuel.units import Shown

TODAY = datetime.date(2026, 6, 1)
CAR = car.load(car.EXAMPLE)
GRADE = next(place.probe.tolerance for place in CAR.places if place.name == "pump")


def calibration(offset_degc=0.0, gain=1.0, made_on=TODAY, place="pump"):
    line = ChannelCalibration(place=place, gain=gain, offset_degc=offset_degc, uncertainty_degc=0.3, made_on=made_on)
    return Calibration(board_id="0" * 16, channels={1: line})


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_class_is_the_bound(sign):
    allowed = tolerance_degc(GRADE, 0.0)[0]
    assert doubts(calibration(sign * (allowed - 0.01)), CAR, TODAY) == []
    (said,) = doubts(calibration(sign * (allowed + 1)), CAR, TODAY)
    assert f"corrects by {sign * (allowed + 1):+.1f} °C" in said
    assert f"{GRADE}, {allowed:.1f} °C" in said


def test_a_gain_is_judged_where_its_effect_is_largest():
    (said,) = doubts(calibration(gain=1.04), CAR, TODAY)
    assert "+4.0 °C at 100 °C" in said


def test_a_date_in_the_future_is_reported_and_today_never_counts_as_future():
    assert doubts(calibration(), CAR, TODAY) == []
    (said,) = doubts(calibration(made_on=datetime.date(2026, 6, 2)), CAR, TODAY)
    assert "dated 2026-06-02, in the future" in said
    assert doubts(calibration(made_on=datetime.datetime.now(datetime.UTC).date()), CAR) == []


def test_without_a_car_file_there_is_no_class():
    assert doubts(calibration(5.0), None, TODAY) == []
    assert doubts(calibration(5.0, place="elsewhere"), CAR, TODAY) == []


def test_a_doubt_is_told_in_the_readers_units():
    (said,) = doubts(calibration(-5.0), CAR, TODAY, Shown("us"))
    assert "corrects by -9.0 °F at " in said and "°C" not in said
