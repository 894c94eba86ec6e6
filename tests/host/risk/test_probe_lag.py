"""A lagging probe in fuel that warms: when act comes on, and the margin shown. The probe is one lump, solved exactly; the filter
knows only its readings and the car file's lag.
"""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.risk.margin import alarm_inputs, margins
from hotfuel.risk.pressure import Conditions
from hotfuel.risk.probes import LAG_SHARE, traced
from hotfuel_wire import alarm

HZ = 5
RUNNING = Conditions(running=1.0)
RAMPS = [6.0, 15.0, 30.0]  # degC/min
LAGS = [1.5, 8.0, 25.0]
FILE_IS = [0.7, 1.0, 1.3]  # of the true lag


def car_with(lag_s):
    fuel = '[fuel]\nvapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nt90 = "165 degC"\nethanol = "0 %"\n'
    text = f'{fuel}[[place]]\nname = "pump"\nchannel = 0\nrole = "pump"\nprobe = {{ lag = "{lag_s:g} s" }}\n'
    return car_file.load(text)


def probe_of(fuel_degc, lag_s, noise_degc=0.0, seed=0, step_degc=0.0):
    read = np.empty(len(fuel_degc))
    at, keep = fuel_degc[0], np.exp(-1 / HZ / lag_s)
    for number, fuel in enumerate(fuel_degc):
        at = fuel + (at - fuel) * keep
        read[number] = at
    read += np.random.default_rng(seed).normal(0, noise_degc, len(read))
    return np.round(read / step_degc) * step_degc if step_degc else read


def judged(car, fuel, read, with_lag=True):
    time_s = np.arange(len(read)) / HZ
    trace = {"pump": traced(car.places[0].probe.lag_s, time_s, read, np.zeros(len(read)))} if with_lag else None
    return margins(car, fuel, {"pump": read}, RUNNING, None, trace)


def comes(table, level):
    """Seconds at which the alarm comes on, all of them."""
    found = []
    machine = alarm.Alarms(1, lambda _, which, __, new: found.append(at / HZ) if which == level and new == 1 else None)
    rows = zip(*(values.tolist() for values in alarm_inputs(table["pump"], table.running)), strict=True)
    for at, (margin, warn_below, _) in enumerate(rows):  # noqa: B007 - the lambda reads `at`
        machine.update(0, margin, warn_below, 1000 // HZ)
    return found


@pytest.fixture(scope="module")
def fuel():
    return car_with(1.5).fuel()


def ramp(limit_degc, per_min, below=25.0):
    """Two minutes steady, then rising through the limit; and the second at which it crosses."""
    rise = np.maximum(np.arange(HZ * int(240 + 60 * below / per_min)) / HZ - 120, 0) * per_min / 60
    return limit_degc - below + rise, 120 + 60 * below / per_min


@pytest.mark.parametrize("per_min", RAMPS)
@pytest.mark.parametrize("lag_s", LAGS)
@pytest.mark.parametrize("share", FILE_IS)
def test_act_comes_in_time_and_the_shown_margin_is_within_its_uncertainty(fuel, per_min, lag_s, share):
    car = car_with(share * lag_s)
    limit = float(margins(car, fuel, {"pump": [50.0]}, RUNNING)["pump"].limit_degc[0])
    truth, crossing_s = ramp(limit, per_min)
    for noise, seed in ((0.0, 0), (0.05, 1), (0.1, 2)):
        read = probe_of(truth, lag_s, noise, seed)
        table, plain = judged(car, fuel, read), judged(car, fuel, read, with_lag=False)
        acted = comes(table, alarm.ACT)
        assert acted
        assert acted[0] - crossing_s <= alarm.ON_DELAY_MS / 1000 + 3.0
        wrong = table["pump"].margin_degc - (limit - truth)
        u = table["pump"].uncertainty_degc
        assert (np.abs(wrong) <= 2 * u + 3 * noise).all()
        excess = u - plain["pump"].uncertainty_degc
        assert (excess >= 0).all()
        assert (excess <= 0.5 * share * lag_s * per_min / 60 + 0.02).all()
        assert not excess[: 100 * HZ].any() or noise


def test_steady_fuel_gets_no_lead(fuel):
    car = car_with(25.0)
    table = judged(car, fuel, np.full(3000, 40.0))
    plain = judged(car, fuel, np.full(3000, 40.0), with_lag=False)
    assert np.array_equal(table["pump"].uncertainty_degc, plain["pump"].uncertainty_degc)
    assert np.array_equal(table["pump"].margin_degc, plain["pump"].margin_degc)


@pytest.mark.parametrize("step_degc", [0.0, 0.25])
@pytest.mark.parametrize("noise_degc", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("lag_s", LAGS)
def test_steady_and_noisy_drives_get_no_more_warnings(fuel, lag_s, noise_degc, step_degc):
    """Half a degree above the warning, for twenty minutes, also drifting slowly by 0.2 degC: no warning that would not come without the lead."""
    car = car_with(lag_s)
    here = margins(car, fuel, {"pump": [50.0]}, RUNNING)["pump"]
    edge = float(here.limit_degc[0] - here.uncertainty_degc[0])
    more = fewer = 0
    for seed in range(6):
        time_s = np.arange(20 * 60 * HZ) / HZ
        truth = edge - 0.7 + 0.2 * np.sin(2 * np.pi * time_s / (200 + 60 * seed))
        read = probe_of(truth, lag_s, noise_degc, seed, step_degc)
        more += len(comes(judged(car, fuel, read), alarm.WARN))
        fewer += len(comes(judged(car, fuel, read, with_lag=False), alarm.WARN))
    assert more <= fewer


def test_no_slope_across_a_gap_and_none_from_a_spike():
    read = np.concatenate((np.full(100, 40.0), np.full(10, np.nan), np.full(100, 48.0)))
    assert not traced(25.0, np.arange(len(read)) / HZ, read, np.zeros(len(read))).lead_degc.any()
    spiked = np.full(300, 40.0)
    spiked[[100, 131, 177]] = 75.0
    assert not traced(25.0, np.arange(300) / HZ, spiked, np.zeros(300)).lead_degc.any()


def test_the_lead_is_lag_times_slope():
    time_s = np.arange(60 * HZ) / HZ
    for slope in (0.1, -0.1, 0.5):
        lead = traced(8.0, time_s, 40 + slope * time_s, np.zeros(len(time_s))).lead_degc[-1]
        assert lead == pytest.approx(8 * slope, rel=0.08)
    assert LAG_SHARE == 0.3
