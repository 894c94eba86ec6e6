"""The live answer to "does the engine run" against the whole recording's, and the last pull in numbers."""

import numpy as np
import pytest
import synthetic
from hotfuel.car import EXAMPLE, load
from hotfuel.live.engine import SPEED, EngineNow, LastPull
from hotfuel.live.history import History
from hotfuel.live.intake import Batch, Intake
from hotfuel.live.plain import pull_text
from hotfuel.session import engine
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

CAR = load(EXAMPLE)


def columns(rpm, ignition=np.nan, rate_hz=5):
    """(seconds, inputs) of one value a second each."""
    rpm = np.repeat(np.asarray(rpm, float), rate_hz)
    key = np.repeat(np.broadcast_to(np.asarray(ignition, float), len(rpm) // rate_hz), rate_hz)
    return np.arange(len(rpm)) / rate_hz, {"engine_rpm": rpm, "ignition": key, "fuel_pressure_kpa": np.full(len(rpm), np.nan)}


def fed(seconds, inputs, cuts):
    now = EngineNow(CAR)
    parts = zip([0, *cuts], [*cuts, len(seconds)], strict=True)
    return np.concatenate([now.running(seconds[a:b], {name: v[a:b] for name, v in inputs.items()}) for a, b in parts if b > a])


def test_a_lost_second_is_not_a_stop_and_eight_silent_seconds_are():
    seconds, inputs = columns([850] * 60 + [0] * 1 + [850] * 30 + [0] * 30)
    found = fed(seconds, inputs, range(1, len(seconds)))
    assert (found[5 : 5 * 98] == 1).all()  # one second alone could be noise
    assert (found[5 * 99 + 1 :] == 0).all()


def test_ignition_off_means_stopped_within_a_second_or_two():
    seconds, inputs = columns([850] * 60 + [0] * 10, [1.0] * 60 + [0.0] * 10)
    found = fed(seconds, inputs, range(1, len(seconds)))
    assert (found[5:300] == 1).all()
    assert (found[5 * 61 + 1 :] == 0).all()


@given(st.lists(st.integers(1, 400), max_size=12), st.sampled_from([np.nan, 1.0]))
def test_in_pieces_of_any_size_a_settled_state_is_that_of_the_whole(cuts, key):
    rpm = [850] * 40 + [2500] * 20 + [0] * 20 + [180] * 2 + [850] * 40
    rpm[30] = rpm[70] = rpm[100] = 0
    seconds, inputs = columns(rpm, key)
    found = fed(seconds, inputs, sorted({cut for cut in cuts if cut < len(seconds)}))
    whole = engine.running(inputs, seconds, CAR)
    changes = np.flatnonzero(np.diff(whole))
    settled = np.array([not any(0 <= row - change <= 5 * 11 for change in changes) for row in range(len(seconds))])
    settled &= seconds > 3  # one second alone could be noise
    assert (found[settled] == whole[settled]).all()


def test_an_engine_runs_on_while_the_board_starts_again():
    """Reading by reading, as they arrive: not standing, not even for the seconds that the first pulses take."""
    made, pulses = synthetic.Recording(), 0.0
    made.anchor(0.0, 1_780_000_000.0)
    for number in range(300):
        at, boot_s = number * 0.2, 30.2 if number > 150 else 0.0
        if number == 151:
            made.boot(2)
            made.anchor(0.0, 1_780_000_000.0 + 31.2)
            pulses = 0.0
        pulses += 850 / 60 * 4 * 0.2
        if number % 5 == 0:
            made.auxiliary(at - boot_s, pulses, fuel_pressure_percent=40, battery_v=13.8)
        made.reading(at - boot_s, [30.0, 40.0, 45.0])
    intake, found = Intake(CAR, CAR.fuel()), []
    for frame in made.frames:
        found += [batch.inputs["running"][-1] for batch in intake.feed(frame) if isinstance(batch, Batch)]
    assert len(found) == 300
    assert found[50:] == [1.0] * 250


def test_the_last_pull_is_reported_once_the_fuel_it_drew_has_arrived():
    idle = CAR.engine.idle_speed_rpm
    rpm = np.concatenate([np.full(100, 2 * idle), np.linspace(2 * idle, 7 * idle, 9), np.full(60, 2 * idle)])
    inlet = np.full(len(rpm), 60.0)
    inlet[100:112] = np.linspace(60.0, 48.0, 12)
    inlet[112:] = 55.0
    history, last, seen = History(), LastPull(CAR), {}
    for second in range(len(rpm)):
        at = np.array([1000.0 + second])
        history.add(at, {SPEED: rpm[second : second + 1], "carb_inlet": inlet[second : second + 1], "tank": np.array([30.0])})
        last.look(history, float(at[0]))
        seen[second] = last.pull
    assert seen[115] is None
    pull = seen[125]
    assert pull is not None
    assert pull.at == pytest.approx(1100.0, abs=2)
    assert pull.place == "carb_inlet"
    assert pull.extent.lowest_degc == 48.0
    assert pull_text(pull.extent, pull.place, Shown("us")).startswith("carb inlet 140 to 118 °F in 1")
    assert seen[len(rpm) - 1] == pull
