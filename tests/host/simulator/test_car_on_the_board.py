"""The simulated car's voltages go through the real firmware and come back as they went in."""

import numpy as np
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.drives import Phase
from hotfuel.simulator.scenarios import Scenario

CODES_PER_MV = 32 * 1.6 * 2**17 / 1000
CONVERSION_S = 0.1563  # one-shot, 60 Hz filter, with the open-circuit test (datasheet, typical)
PERIOD_S = 0.2


def test_every_code_is_a_voltage_the_car_had_at_the_conversions_time(read):
    car = CarModel(Scenario(drive=(Phase("idle", 0.5, "idle"), Phase("road", 1.0, "cruise", speed_km_h=90.0))))
    given = car.all()
    with SimulatedBoard(car, speed=100) as board, read(board) as reader:
        reader.to_the_end()
    readings = reader.of("reading")[2:]
    assert len(readings) >= 5 * 90 - 4
    samples = np.rint(given.emf_mv * CODES_PER_MV)
    for reading in readings:
        # the conversion was asked for at the tick before; the chip's model takes the voltage at its middle; a sample holds for 50 ms
        middle_s = reading["time_ms"] / 1000 - PERIOD_S + CONVERSION_S / 2
        nearest = round(middle_s / 0.05)
        for channel in range(3):
            around = samples[nearest - 2 : nearest + 3, channel]
            assert np.abs(around - reading["channels"][channel]["hot"]).min() <= 1
    pressures = [auxiliary["fuel_pressure"] for auxiliary in reader.of("auxiliary")]
    assert len(set(pressures)) > 1  # the pump builds it up
