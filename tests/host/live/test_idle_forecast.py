"""Idle forecasts end to end: a simulated drive into a long queue is recorded, followed as it grows, and the forecast compared with the truth."""

import numpy as np
import pytest
import synthetic
from hotfuel import car as car_file
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.log.append import LogWriter
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.drives import Phase
from hotfuel.simulator.feed import Senders
from hotfuel.simulator.scenarios import Scenario
from hotfuel.temperature.thermocouple import temperature_degc
from hotfuel.units import Shown

TOLD_AT_MIN = (3, 6, 9)  # s of the idle


def frames(model):
    """(board time s, frames) for every second of the drive, as a board with all inputs sends them."""
    car, seen = car_file.load(car_file.EXAMPLE), model.all(1.0)
    senders = Senders.of(car)
    degc = temperature_degc(seen.emf_mv, seen.cold_degc)
    made = synthetic.Recording(period_ms=1000)
    pulses = np.cumsum(seen.engine_rpm / 60 * senders.pulses_per_revolution)
    share = seen.fuel_pressure_kpa / senders.fuel_pressure_range_kpa
    percent = senders.fuel_pressure_zero_percent + share * (
        senders.fuel_pressure_full_percent - senders.fuel_pressure_zero_percent
    )
    for number, time_s in enumerate(seen.time_s.tolist()):
        made.auxiliary(time_s, pulses[number], percent[number], seen.battery_v[number], bool(seen.ignition[number]))
        made.reading(time_s, degc[number].tolist(), float(seen.cold_degc[number, 0]))
        yield time_s, b"".join(made.frames)
        made.frames.clear()


def read(state):
    while state.advance(60.0):
        pass


@pytest.fixture(scope="module", params=[(1, 25.0), (5, 31.0)])
def model(request):
    seed, ambient_degc = request.param
    drive = (Phase("road", 12, "cruise", 64.0), Phase("queue", 20, "idle"), Phase("road on", 1.0, "cruise", 64.0))
    return CarModel(Scenario(drive=drive, seed=seed, start_block_degc=80.0, ambient_degc=ambient_degc))


def test_the_truth_ten_minutes_later_is_inside_the_band_forecast_at_idle(session, model):
    truth, path = model.truth, session()
    queue_s = float(truth["time_s"][truth["phase"] == "queue"].iloc[0])
    due_s = [queue_s + 60.0 * minutes for minutes in TOLD_AT_MIN]
    told = []
    with LogWriter(path / "wire.log") as writer, LiveState(path) as state:
        for time_s, data in frames(model):
            writer.received(data)
            if due_s and time_s >= due_s[0]:
                due_s.pop(0)
                read(state)
                state.forecaster.pending.result(60)
                state.advance()
                told.append(state.situation())
        read(state)
        assert state.situation().outlooks == ()  # the car drives on
    held, widths = [], []
    for minutes, now in zip(TOLD_AT_MIN, told, strict=True):
        assert not now.standing
        assert {outlook.place for outlook in now.outlooks} == {"tank", "pump", "carb_inlet"}
        assert panel(now, Shown("us"))["forecasts"]["note"].startswith("model only")
        for outlook in now.outlooks:
            assert outlook.elapsed_min == pytest.approx(minutes, abs=0.25)
            assert outlook.idle.ahead_min == 10
            band, left = outlook.idle.temperature_degc, outlook.idle.margin_degc
            later = float(np.interp(now.at + 600.0, truth["time_s"], truth[f"{outlook.place}_degc"]))
            limit = next(place.limit_degc for place in now.places if place.name == outlook.place)
            assert (left.least, left.greatest) == pytest.approx((limit - band.greatest, limit - band.least), abs=1e-6)
            assert outlook.idle.smallest_margin_degc.middle <= left.middle
            held.append(band.least <= later <= band.greatest)
            widths.append(band.greatest - band.least)
    assert sum(held) >= 8  # of 9; a band of 95 % contains 8 of them or more in thirteen of fourteen drives
    assert np.median(widths) < 17.0 * 1.96 / 1.645  # 17 for nine in ten
