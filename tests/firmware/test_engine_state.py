"""Whether the engine runs: the board's own answer and the host's from the board's frames agree; it is unknown where nothing was seen yet."""

import sys
import types

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.risk.pressure import Conditions, running_state
from hotfuel.samples import table
from hotfuel.session.inputs import from_auxiliary
from hotfuel_wire.limit_tables import RUNNING, STANDING
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from inputs import Inputs
from settings import defaults as new_board

NOW = {frozenset((RUNNING,)): 1.0, frozenset((STANDING,)): 0.0, frozenset((RUNNING, STANDING)): np.nan}
SETTLED = 4  # seconds without a change: each side looks back over its own second or two


class Board:
    """Pulses per second and an ignition that can be switched."""

    def __init__(self):
        self.pulses, self.on = 0, False

    def button(self):
        return False

    def ignition(self):
        return self.on

    def pulse_counter(self):
        return types.SimpleNamespace(by_interrupt=False, count=lambda: self.pulses)

    def analogue(self, _name):
        return 0


@pytest.fixture(scope="module")
def states():
    """Limits.states of firmware/limits.py, for an application with these inputs."""
    kept = {name: sys.modules.pop(name, None) for name in ("board", "limits")}
    sys.modules["board"] = types.ModuleType("board")
    import limits

    yield lambda inputs, names, now_ms: limits.Limits.states(
        types.SimpleNamespace(application=types.SimpleNamespace(inputs=inputs, settings={"inputs": names})), now_ms
    )
    for name, module in kept.items():
        sys.modules.pop(name, None)
        if module:
            sys.modules[name] = module


def driven(states, folder, names, boots):
    """(board's answers, host's) second by second; boots: for each boot a list of (pulses per second, ignition on). 1 runs, 0 stands, nan unknown."""
    car = car_file.load(car_file.EXAMPLE)
    board_says, rows = [], []
    for boot, seconds in enumerate(boots):
        board = Board()
        board.on = seconds[0][1]
        inputs = Inputs(board, {**new_board(), "inputs": names}, f"{folder}/")
        for second, (pulses, on) in enumerate(seconds):
            board.pulses += pulses
            board.on = on
            for ms in range(0, 1000, 50):
                inputs.step(1000 * second + ms)
            inputs.read()
            board_says.append(NOW[frozenset(states(inputs, names, 1000 * second + 950))])
            sent = {
                "type": 3,
                "tick": 5 * second,
                "time_ms": 1000 * second,
                "barometer_length": 0,
                "fitted_high": 0,
                **inputs.values,
            }
            sent |= {"boot": boot, "time": float(second)}
            kind = table.MESSAGES["auxiliary"]
            rows.append(np.array([tuple(sent.get(name, 0) for name in kind.names)], kind)[0])
    values = from_auxiliary(np.array(rows), np.zeros(0, table.MESSAGES["barometer"]), car)
    known = {name: values[name] for name in ("engine_rpm", "ignition", "fuel_pressure_kpa")}
    return np.array(board_says), np.broadcast_to(running_state(car, Conditions(**known)), len(rows))


NAMES = st.sampled_from(
    [("engine_pulses",), ("ignition",), ("engine_pulses", "ignition"), ("engine_pulses", "ignition", "fuel_pressure"), ()]
)
STRETCH = st.tuples(st.integers(SETTLED, 9), st.sampled_from([0, 0, 40, 100]), st.booleans())
BOOTS = st.lists(st.lists(STRETCH, min_size=1, max_size=4), min_size=1, max_size=3)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(NAMES, BOOTS)
def test_board_and_host_agree_wherever_nothing_has_changed_for_seconds(states, tmp_path_factory, names, stretches):
    boots = [[(pulses, on) for count, pulses, on in boot for _ in range(count)] for boot in stretches]
    board, host = driven(states, tmp_path_factory.mktemp("board"), names, boots)
    settled = np.concatenate(
        [[at >= SETTLED and len(set(boot[at - SETTLED : at + 1])) == 1 for at in range(len(boot))] for boot in boots]
    )
    # the board waits five seconds before it takes the ignition as off: cranking is no key-off
    np.testing.assert_array_equal(board[settled], host[settled])


def test_silence_is_unknown_until_the_first_pulse_of_a_boot_and_means_stopped_after_it(states, tmp_path):
    quiet, turning = [(0, False)] * 8, [(50, False)] * 8
    board, host = driven(states, tmp_path, ("engine_pulses",), [quiet + turning + quiet, quiet])
    for says in (board, host):
        assert np.isnan(says[:8]).all()
        assert (says[9:16] == 1).all()
        assert (says[19:24] == 0).all()
        assert np.isnan(says[24:]).all(), "a new boot has seen no pulse yet"


def test_ignition_off_counts_only_after_it_was_seen_on_in_any_boot(states, tmp_path):
    off, on = [(0, False)] * 8, [(0, True)] * 8
    board, host = driven(states, tmp_path, ("ignition",), [off, off + on + off, off])
    for says in (board, host):
        assert np.isnan(says[:24]).all(), "never seen on, then on: it may have stalled"
        assert (says[30:32] == 0).all()
        assert (says[33:] == 0).all()
