"""The board's limits, alarms, lamp and button, against the exact calculation of the host."""

import datetime
import sys
import types

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.risk import board_limits
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import alarm, limit_tables
from hotfuel_wire.limit_tables import RUNNING, STANDING
from hotfuel_wire.meanings import from_event_value
from hotfuel_wire.messages import CHIPS, NO_ANSWER, NOT_READY
from hypothesis import given, settings
from hypothesis import strategies as st

MADE = datetime.datetime(2026, 6, 1, tzinfo=datetime.UTC)
COLD = 25 * 256  # the MAX31856's code of 25 degC


class Application:
    """The part of application.py that limits.py uses."""

    def __init__(self, folder, names=("engine_pulses", "ignition")):
        self.folder = str(folder) + "/"
        self.settings = {"chips": ("MAX31856",) * 3, "gain": 32, "inputs": names, "buzzer": 1, "units": "si"}
        self.on_tick, self.on_loop, self.on_change, self.events = [], [], [], []
        self.health = {"store_free_kb": 500}
        self.failed = 0
        self.handlers = {}
        self.now_ms = 0
        self.wall = None
        self.clock = types.SimpleNamespace(now=lambda: self.now_ms)
        self.time_of_day = types.SimpleNamespace(wall_s=lambda ms: self.wall)
        self.commands = types.SimpleNamespace(
            register=lambda name, handler, asks_only=False: self.handlers.update({name: handler})
        )
        self.inputs = types.SimpleNamespace(
            on_button=[],
            values={"pulses": 0, "barometer": b"", "fuel_pressure": 0},
            barometer=None,
            ignition=True,
            ignition_seen=True,
            pulses_ms=-100_000,
            turned_within=lambda now_ms, ms: now_ms - self.inputs.pulses_ms < ms,
        )

    def emit_event(self, name, channel=255, value=0, detail=""):
        self.events.append((name, channel, value, detail))


@pytest.fixture(scope="module")
def limits_module():
    """firmware/limits.py over a board that only records its lamp and buzzer."""
    board = types.ModuleType("board")
    board.lit, board.sounds = [], []
    board.lamp, board.buzzer = board.lit.append, board.sounds.append
    kept = {name: sys.modules.pop(name, None) for name in ("board", "limits")}
    sys.modules["board"] = board
    import limits

    yield limits
    for name, module in kept.items():
        sys.modules.pop(name, None)
        if module:
            sys.modules[name] = module


@pytest.fixture(scope="module")
def car():
    return car_file.load(car_file.EXAMPLE)


@pytest.fixture(scope="module")
def tables(car):
    setting = board_limits.ChannelSetting(CHIPS["MAX31856"], 32, 19)
    return board_limits.board_tables(car, car.fuel(), {0: setting, 1: setting, 2: setting}, MADE)


def loaded(limits_module, folder, tables, **names):
    application = Application(folder, **names)
    limits_module.attach(application)
    one = application.on_tick[0].__self__
    for piece in (tables.head, *tables.pieces):
        answer = application.handlers["warnings"](piece)
    assert b"fit=True" in answer
    return application, one


def code(degc):
    """The MAX31856's code at gain 32 with the terminals at 25 degC."""
    return int(np.round((emf_mv(degc) - emf_mv(25.0)) / (1000 / (32 * 1.6 * 2**17))))


def drive(application, one, degrees, seconds, running=True):
    for _ in range(int(seconds * 5)):
        application.now_ms += 200
        if running:
            application.inputs.pulses_ms = application.now_ms
        for call in application.on_tick:
            call(application.now_ms, [code(t) if t is not None else NO_ANSWER for t in degrees], [COLD] * 3, [0] * 3)
        for call in application.on_loop:
            call(application.now_ms)


@settings(max_examples=25)
@given(temperatures=st.lists(st.floats(-10, 110), min_size=3, max_size=3), running=st.booleans())
def test_margins_are_the_hosts_within_half_a_degree(limits_module, car, tables, tmp_path_factory, temperatures, running):
    application, one = loaded(limits_module, tmp_path_factory.mktemp("board"), tables)
    drive(application, one, temperatures, 3, running=running)
    names = {place.channel: place for place in car.places}
    exact = margins(
        car, car.fuel(), {names[c].name: np.array([t]) for c, t in enumerate(temperatures)}, Conditions(running=float(running))
    )
    seen = 0
    for (channel, where, _, limits), margin in zip(one.rows, one._margins, strict=True):
        if limits is None:
            continue
        seen += 1
        if where == limit_tables.BEHIND_NEEDLE and not running:
            assert margin == limits_module.QUIET, "percolation after a hot stop is not an alarm"
            continue
        name = names[channel].name + ("_needle" if where == limit_tables.BEHIND_NEEDLE else "")
        expected = float(exact[name].margin_degc[0])
        if names[channel].probe.indicative:
            expected = max(expected, 0.0)
        # away from 60 degC, a degree of temperature is 1.00 to 1.04 of the tables' fixed counts per degree
        assert margin / 100 == pytest.approx(expected, abs=0.5 + 0.03 * abs(expected)), name
    assert seen == 4


@pytest.mark.parametrize(("role", "pressure_kpa"), [("bowl", 0.0), ("injector", 100.0), ("line", 100.0)])
def test_boiling_after_a_hot_stop_is_no_alarm_and_boiling_at_the_restart_is(limits_module, tmp_path, role, pressure_kpa):
    """As on the host; where it is not known whether the engine runs, the lower pressure counts."""
    car = car_file.load(
        f'[fuel]\nclass = "D4814 A-1"\n[pump]\nkind = "electric_submerged"\npressure = "{100 if pressure_kpa else 40} kPa"\n'
        f'[[place]]\nname = "inlet"\nchannel = 0\nrole = "{role}"\n'
        + ('[[place]]\nname = "rail"\nchannel = 1\nrole = "injector"\n' if role == "line" else "")
    )
    ratio = 2.0 if role == "bowl" else 0.0
    limit_degc = float(car.fuel().limit_degc(101.325 + pressure_kpa, ratio))
    setting = board_limits.ChannelSetting(CHIPS["MAX31856"], 32, 19)
    made = board_limits.board_tables(car, car.fuel(), dict.fromkeys((place.channel for place in car.places), setting), MADE)
    application, one = loaded(limits_module, tmp_path, made)
    drive(application, one, [limit_degc + 5, 30, 30], 60, running=False)
    assert (one.alarms.shown(), one._margins[0]) == (alarm.QUIET, limits_module.QUIET)
    drive(application, one, [limit_degc + 5, 30, 30], 6)
    assert one.alarms.shown() == alarm.ACT
    application, one = loaded(limits_module, tmp_path, made, names=("ignition",))
    application.inputs.pulses_ms = None
    lower_degc = float(car.fuel().limit_degc(101.325, ratio))
    drive(application, one, [lower_degc + 5, 30, 30], 6, running=False)
    assert one.alarms.shown() == alarm.ACT


def test_an_alarm_comes_and_the_lamp_follows(limits_module, tables, tmp_path):
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 30, 30], 5)
    assert one._lamp.pattern == limits_module.choose(alarm.QUIET, False, True, False)
    drive(application, one, [30, 95, 30], 5)
    alarms = [(event[1], from_event_value(event[2])[1:]) for event in application.events if event[0] == "alarm"]
    assert (1, (alarm.ACT, alarm.NORMAL, alarm.UNACKNOWLEDGED)) in alarms
    assert application.health["lamp"] == 6
    assert sys.modules["board"].sounds[-1] is True or sys.modules["board"].sounds[-1] == 1
    application.handlers["acknowledge"](b"")
    drive(application, one, [30, 95, 30], 1)
    assert not sys.modules["board"].sounds[-1]
    assert application.health["lamp"] == 6, "the lamp keeps showing what is live"
    for degc in range(95, 30, -1):  # no real probe falls at once
        drive(application, one, [30, degc, 30], 0.4)
    drive(application, one, [30, 30, 30], 62)
    assert (application.health["lamp"], application.health["alarm_unseen"]) == (1, 1), "the slow wink"
    application.inputs.on_button[0](300)
    drive(application, one, [30, 30, 30], 1)
    assert (application.health["lamp"], application.health["alarm_unseen"]) == (0, 0)


def test_a_lost_sensor_and_no_limits_have_patterns_of_their_own(limits_module, tables, tmp_path):
    application = Application(tmp_path / "new")
    (tmp_path / "new").mkdir()
    limits_module.attach(application)
    one = application.on_tick[0].__self__
    drive(application, one, [30, 30, 30], 5)
    assert application.health["lamp"] == 3
    assert application.health["limits_age_days"] == 0xFFFF
    drive(application, one, [30, None, 30], 5)
    assert application.health["lamp"] == 4


@pytest.mark.parametrize("every", [20, 5, 2])
@pytest.mark.parametrize("bad", [None, 25.0])
def test_a_loose_plug_does_not_silence_an_alarm(limits_module, tables, tmp_path, every, bad):
    """Open, or shorted (which reads the amplifier's own 25 degC), in one tick of so many: act comes on, and the pump is never reported as cool."""
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 80, 30], 0.4)
    for step in range(60):
        drive(application, one, [30, bad if step % every == 0 else 80, 30], 0.2)
    assert application.health["lamp"] == 6
    names = [(event[1], from_event_value(event[2])[1:]) for event in application.events if event[0] == "alarm"]
    assert (1, (alarm.ACT, alarm.NORMAL, alarm.UNACKNOWLEDGED)) in names
    assert not [event for event in application.events if event[0] == "fall_believed"]


def test_a_lasting_short_is_believed_and_reported(limits_module, tables, tmp_path):
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 80, 30], 5)
    drive(application, one, [30, 25, 30], 12)
    (said,) = [event for event in application.events if event[0] == "fall_believed"]
    assert said[1] == 1
    assert said[2] == pytest.approx(5500, rel=0.04)


def test_the_probes_lag_is_allowed_for(limits_module, car, tables, tmp_path):
    """On a ramp of 30 degC a minute a probe with a lag of 8 s reads 4 degC low: the board alarms when the fuel is at its limit."""
    places = tuple(p.model_copy(update={"probe": p.probe.model_copy(update={"lag_s": 8.0, "mount": "stem"})}) for p in car.places)
    slow = car.model_copy(update={"places": places})
    setting = board_limits.ChannelSetting(CHIPS["MAX31856"], 32, 19)
    with_lag = board_limits.board_tables(slow, slow.fuel(), {0: setting, 1: setting, 2: setting}, MADE)
    limit = float(margins(slow, slow.fuel(), {"pump": np.array([50.0])}, Conditions(running=1.0))["pump"].limit_degc[0])
    late = {}
    for name, made in (("old", tables), ("new", with_lag)):
        (tmp_path / name).mkdir()
        application, one = loaded(limits_module, tmp_path / name, made)
        at, seconds = limit - 30.0, 0.0
        while application.health.get("lamp") != 6:
            fuel = limit - 30.0 + max(seconds - 10.0, 0.0) * 0.5
            at = fuel + (at - fuel) * np.exp(-0.2 / 8.0)
            drive(application, one, [30, at, 30], 0.2)
            seconds += 0.2
        late[name] = seconds - 70.0
    assert 0.0 < late["new"] < 7.0 < late["old"]


def test_no_new_conversion_is_not_a_fault(limits_module, tables, tmp_path):
    """None in one tick of 16; then none at all, which is a dead chip."""
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 30, 30], 1)

    def ticks(codes):
        for hot in codes:
            application.now_ms += 200
            application.inputs.values["pulses"] += 3
            for call in application.on_tick:
                call(application.now_ms, [hot] * 3, [COLD] * 3, [0] * 3)

    began = application.now_ms
    ticks([NOT_READY if step % 16 == 3 else code(95) for step in range(21)])
    live = [row for row, places in zip(one.rows, one.alarms.places, strict=True) if row[3] and places[alarm.ACT].live]
    assert len(live) >= 3
    assert application.now_ms - began <= 4400
    ticks([NOT_READY] * 60)
    assert all(places[alarm.LOST].live for places in one.alarms.places)


def test_with_the_engine_stopped_the_limit_falls_at_the_carburettor(limits_module, tables, tmp_path):
    """Key-off removes the pump's pressure: the same line temperature has a smaller margin at once."""
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 30, 50], 3)
    at = next(i for i, row in enumerate(one.rows) if row[0] == 2 and row[1] == limit_tables.IN_LINE)
    running = one._margins[at]
    drive(application, one, [30, 30, 50], 3, running=False)
    assert one._margins[at] < running - 300


def test_old_limits_are_marked_as_old(limits_module, tables, tmp_path):
    application, one = loaded(limits_module, tmp_path, tables)
    application.wall = int(MADE.timestamp()) + 31 * 86400
    drive(application, one, [30, 30, 30], 5)
    assert (application.health["lamp"], application.health["limits_age_days"]) == (3, 31)


def test_the_set_survives_a_boot_and_a_broken_one_changes_nothing(limits_module, tables, tmp_path):
    application, one = loaded(limits_module, tmp_path, tables)
    for damaged in (tables.pieces[0][:-1], b"\x07abc", tables.pieces[0][:8] + b"\xff" + tables.pieces[0][9:]):
        application.handlers["warnings"](tables.head)
        with pytest.raises(limits_module.Refused):
            for piece in (damaged, *tables.pieces[1:]):
                application.handlers["warnings"](piece)
    assert b"made=%d" % int(MADE.timestamp()) in application.handlers["warnings"](b"")
    again = Application(tmp_path)
    limits_module.attach(again)
    assert again.on_tick[0].__self__.rows == one.rows


def test_limits_for_another_chip_are_not_used(limits_module, tables, tmp_path):
    """Codes of one gain read as another's look plausible but are wrong."""
    application, one = loaded(limits_module, tmp_path, tables)
    application.settings = {**application.settings, "gain": 8}
    for call in application.on_change:
        call()
    assert all(row[3] is None for row in one.rows)
    drive(application, one, [30, 30, 30], 5)
    assert application.health["lamp"] == 3


def test_a_long_press_reports_the_smallest_margin(limits_module, tables, tmp_path):
    application, one = loaded(limits_module, tmp_path, tables)
    drive(application, one, [30, 45, 30], 5)
    channel, margin = one.smallest()
    application.inputs.on_button[0](2000)
    assert one._lamp._code == limits_module.blink_code(channel + 1, margin // 100)
    application.settings["units"] = "us"
    application.inputs.on_button[0](2000)
    assert one._lamp._code == limits_module.blink_code(channel + 1, int(margin / 100 * 1.8))


@given(st.lists(st.binary(min_size=1, max_size=220), min_size=1, max_size=12))
def test_join_and_split(limits_module, pieces):
    assert limits_module.split(limits_module.join(pieces)) == (pieces[0], pieces[1:])


@pytest.mark.parametrize(
    ("names", "ignition", "fuel_pressure", "running"),
    [
        (("ignition", "fuel_pressure"), True, 20000, {RUNNING}),
        (("ignition", "fuel_pressure"), True, 6600, {STANDING}),
        (("ignition", "fuel_pressure"), False, 20000, {STANDING}),  # key-off: the line still holds its pressure
        (("fuel_pressure",), False, 20000, {RUNNING}),  # an ignition that is not wired says nothing
        (("ignition",), False, 0, {STANDING}),
        (("ignition",), True, 0, {STANDING, RUNNING}),  # on, but it may have stalled
        ((), False, 0, {STANDING, RUNNING}),
    ],
)
def test_the_inputs_that_show_that_the_engine_runs(limits_module, tables, tmp_path, names, ignition, fuel_pressure, running):
    application, one = loaded(limits_module, tmp_path, tables, names=names)
    application.inputs.ignition = ignition
    application.inputs.values["fuel_pressure"] = fuel_pressure
    application.inputs.pulses_ms = None
    assert set(one.states(0)) == running


@pytest.mark.parametrize("names", [("engine_pulses",), ("engine_pulses", "ignition"), ("ignition",), ("fuel_pressure",)])
def test_an_unwired_input_shows_nothing_and_the_lower_limit_applies(limits_module, tables, tmp_path, names):
    """No pulse since boot, an ignition never seen on, a sender at 0 V: each would read as off, but shows nothing."""
    application, one = loaded(limits_module, tmp_path, tables, names=names)
    inputs = application.inputs
    inputs.ignition, inputs.ignition_seen, inputs.pulses_ms = False, False, None
    assert set(one.states(0)) == {STANDING, RUNNING}
    if "engine_pulses" in names:
        inputs.pulses_ms = 0
        assert set(one.states(1000)) == {RUNNING}
        assert set(one.states(3000)) == {STANDING}, "known from now on"
