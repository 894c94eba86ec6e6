"""The simulated car's voltages go through the real firmware and come back unchanged."""

import numpy as np
from hotfuel.simulator.board import SimulatedBoard
from hotfuel.simulator.car_model import CarModel
from hotfuel.simulator.drives import Phase
from hotfuel.simulator.scenarios import Scenario

CODES_PER_MV = 32 * 1.6 * 2**17 / 1000
CONVERSION_S = 0.1563  # one-shot, 60 Hz filter, with the open-circuit test (datasheet, typical)
PERIOD_S = 0.2
SAMPLE_S = 0.05


def test_every_code_is_a_voltage_the_car_had_at_the_conversions_time(read):
    car = CarModel(Scenario(drive=(Phase("idle", 0.5, "idle"), Phase("road", 1.0, "cruise", speed_km_h=90.0))))
    given = car.all()
    with SimulatedBoard(car, speed=100) as board, read(board) as reader:
        reader.to_the_end()
    readings = reader.of("reading")[2:]
    assert len(readings) >= 5 * 90 - 4
    samples = np.rint(given.emf_mv * CODES_PER_MV)
    # The board's clock starts where its first tick's window needs it, so it is ahead of the car's by less than a period, constant
    # throughout. The conversion was requested at the tick before; the chip's model takes the voltage at its middle; a sample
    # holds for 50 ms.
    middles_s = np.array([reading["time_ms"] for reading in readings]) / 1000 - PERIOD_S + CONVERSION_S / 2
    codes = np.array([[channel["hot"] for channel in reading["channels"]] for reading in readings])

    def misses(ahead_s):
        nearest = np.rint((middles_s - ahead_s) / SAMPLE_S).astype(int).clip(max=len(samples) - 1)
        return int((np.abs(samples[nearest] - codes) > 1).sum())

    ahead_s = min(np.arange(0, PERIOD_S, 0.01), key=misses)
    assert misses(ahead_s) == 0
    assert misses(ahead_s + 2 * SAMPLE_S) > len(codes)  # another time does not fit
    pressures = [auxiliary["fuel_pressure"] for auxiliary in reader.of("auxiliary")]
    assert len(set(pressures)) > 1  # the pump builds it up
