"""Sleep after key-off and on a weak battery, but never on a bench."""

import sys
import types

import pytest


class Reset(Exception):
    pass


class Board(types.ModuleType):
    def __init__(self):
        super().__init__("board")
        self.done = []
        self.dozes = 0
        self.key_on_after = 5
        for name in ("stop_timer", "feed"):
            setattr(self, name, lambda name=name: self.done.append(name))
        for name in ("sensor_rail", "lamp", "buzzer"):
            setattr(self, name, lambda on, name=name: self.done.append((name, on)))

    def ignition(self):
        return self.dozes >= self.key_on_after

    def doze(self, ms):
        assert ms < 8000, "the watchdog would reset"
        self.dozes += 1

    def reset(self, reason):
        self.done.append(("reset", reason))
        raise Reset


@pytest.fixture
def power():
    kept = {name: sys.modules.pop(name, None) for name in ("board", "power")}
    sys.modules["board"] = Board()
    import power

    yield power
    for name, module in kept.items():
        sys.modules.pop(name, None)
        if module:
            sys.modules[name] = module


class Application:
    def __init__(self, volts, inputs=("battery", "ignition"), seen=True):
        self.settings = {"inputs": inputs, "after_key_off_min": 60, "low_voltage_mv": 11800}
        self.pulses_s = None  # time of the last event
        self.inputs = types.SimpleNamespace(
            ignition=False,
            ignition_seen=seen,
            values={"battery": round(volts / 11 / 3.3 * 65535)},
            turned_within=lambda now_ms, ms: self.pulses_s is not None and now_ms - self.pulses_s * 1000 < ms,
        )
        self.sender = types.SimpleNamespace(pump=lambda: False)
        self.on_loop, self.events = [], []

    def emit_event(self, name, channel=255, value=0, detail=""):
        self.events.append((name, value))


def minutes_until_sleep(power, application, most=200):
    power.attach(application)
    for second in range(most * 60):
        try:
            application.on_loop[0](second * 1000)
        except Reset:
            return second / 60
    return None


def test_an_hour_after_key_off_it_sleeps_until_the_key_is_on_again(power):
    application = Application(12.6)
    assert minutes_until_sleep(power, application) == pytest.approx(60, abs=0.1)
    assert [name for name, _ in application.events] == ["sleep"]
    assert application.events[0][1] == pytest.approx(12600, abs=20)
    board = sys.modules["board"]
    assert {("sensor_rail", False), ("lamp", False), ("buzzer", False), "stop_timer"} <= set(board.done)
    assert board.done[-1] == ("reset", "wake"), "the next boot knows why"
    assert board.dozes == 5
    assert board.done.count("feed") == 5


def test_a_weak_battery_puts_it_to_sleep_after_half_a_minute(power):
    application = Application(11.5)
    assert minutes_until_sleep(power, application) == pytest.approx(0.5, abs=0.1)
    assert [name for name, _ in application.events] == ["low_voltage", "sleep"]


@pytest.mark.parametrize(
    ("volts", "inputs", "key"),
    [(12.6, ("battery", "ignition"), True), (0.0, ("battery", "ignition"), False), (12.6, ("battery",), False)],
)
def test_it_stays_awake_with_the_key_on_or_on_a_bench_or_without_the_inputs(power, volts, inputs, key):
    application = Application(volts, inputs)
    application.inputs.ignition = key
    assert minutes_until_sleep(power, application) is None
    assert application.events == []


def test_an_unconnected_ignition_wire_does_not_put_a_driving_car_to_sleep(power):
    """In the settings but never seen on: the hour does not count. Only a weak battery leads to sleep."""
    assert minutes_until_sleep(power, Application(12.6, seen=False)) is None
    assert minutes_until_sleep(power, Application(11.5, seen=False)) == pytest.approx(0.5, abs=0.1)


def test_no_sleep_within_a_minute_of_the_engines_pulses(power):
    """The ignition wire has come off, and the alternator with it: 11.5 V, but the engine turns until minute 100."""
    application = Application(11.5)
    power.attach(application)
    slept = None
    for second in range(200 * 60):
        if second < 6000 and second % 50 == 0:
            application.pulses_s = second
        try:
            application.on_loop[0](second * 1000)
        except Reset:
            slept = second
            break
    assert slept == pytest.approx(5950 + 60 + 30, abs=2)


def test_a_cranking_dip_is_not_a_weak_battery(power):
    """12.6 V falling to 8 V for four seconds."""
    application = Application(12.6)
    power.attach(application)
    for second in range(300):
        application.inputs.values["battery"] = round((8.0 if 100 <= second < 104 else 12.6) / 11 / 3.3 * 65535)
        application.on_loop[0](second * 1000)
    assert application.events == []
