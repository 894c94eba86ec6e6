"""The inputs of the alarm machine: percolation after a hot stop raises nothing, a clamp-on probe never reaches act, a lost probe is reported lost."""

import numpy as np
from hotfuel import car as car_file
from hotfuel.risk.margin import alarm_inputs, margins
from hotfuel.risk.pressure import Conditions
from hotfuel_wire import alarm


def table(text, degrees, running):
    car = car_file.load(text)
    return margins(car, car.fuel(), {"carb_inlet": np.array(degrees), "pump": np.array(degrees)}, Conditions(running=running))


def test_behind_the_needle_only_while_the_engine_runs():
    hot = [40.0, 90.0, np.nan]
    for running, quiet in ((1.0, False), (0.0, True)):
        found = table(car_file.EXAMPLE, hot, running)
        margin, warn_below, seen = alarm_inputs(found["carb_inlet_needle"], found.running)
        assert seen.all()
        assert margin[2] == alarm.UNREADABLE
        assert (margin[1] >= warn_below[1] + alarm.DEADBAND) is np.True_ if quiet else margin[1] < 0
        in_line, _, _ = alarm_inputs(found["carb_inlet"], found.running)
        assert in_line[1] == round(100 * float(found["carb_inlet"].margin_degc[1])) < 0


INJECTED = (
    'name = "one injector"\n[fuel]\nclass = "D4814 A-3"\n[pump]\nkind = "electric_submerged"\npressure = "100 kPa"\n'
    '[[place]]\nname = "inlet"\nchannel = 0\nrole = "injector"\n'
)


def test_at_an_injector_a_hot_stop_is_a_note_and_the_restart_raises_what_boils_then():
    """Standing, its line may hold a pressure that nobody measures: every hot stop ended in act."""
    car = car_file.load(INJECTED)
    standing, held = (
        float(margins(car, car.fuel(), {"inlet": [20.0]}, Conditions(running=running))["inlet"].limit_degc[0])
        for running in (0.0, 1.0)
    )
    between, above = (standing + held) / 2, held + 5.0
    for degc, running, level in (
        (above, 0.0, alarm.QUIET),
        (between, 0.0, alarm.QUIET),
        (between, 1.0, alarm.QUIET),
        (above, 1.0, alarm.ACT),
        (between, np.nan, alarm.ACT),  # it may run, at the lower pressure
    ):
        states = np.r_[np.zeros(150), np.full(50, running)]  # a stop of half a minute, then 10 s
        found = margins(car, car.fuel(), {"inlet": np.full(200, degc)}, Conditions(running=states))
        machine = alarm.Alarms(1, lambda *_: None)
        for margin, below, _ in zip(*alarm_inputs(found["inlet"], found.running), strict=True):
            machine.update(0, int(margin), int(below), 200)
        assert machine.shown() == level, (degc, running)


def test_where_the_pressure_leaves_no_limit_warn_and_act_come_on_with_the_reason():
    """At a clamp-on probe too: the pressure is not part of its uncertainty."""
    clamped = car_file.EXAMPLE.replace('mount = "axial"', 'mount = "clamp_metal"')
    for text in (car_file.EXAMPLE, clamped):
        car = car_file.load(text)
        for air_kpa, sentinel, level in (
            (24.0, alarm.TOO_LOW, alarm.LOW_PRESSURE),
            (-3.0, alarm.IMPOSSIBLE, alarm.IMPOSSIBLE_PRESSURE),
        ):
            found = margins(car, car.fuel(), {"pump": np.full(40, 20.0)}, Conditions(running=0.0, ambient_pressure_kpa=air_kpa))
            margin, warn_below, seen = alarm_inputs(found["pump"], found.running)
            assert set(margin.tolist()) == {sentinel}
            machine = alarm.Alarms(1, lambda *_: None)
            for one, below in zip(margin.tolist(), warn_below.tolist(), strict=True):
                machine.update(0, one, below, 200)
            assert {number for number, one in machine.places[0].items() if one.live} == {alarm.WARN, alarm.ACT, level}
            assert machine.shown() == level
            assert machine.sounding()
            assert seen.all()


def test_a_clamp_on_probe_warns_and_never_reaches_act():
    clamped = car_file.EXAMPLE.replace('mount = "axial"', 'mount = "clamp_metal"')
    found = table(clamped, [40.0, 90.0, 90.0], 1.0)
    margin, warn_below, _ = alarm_inputs(found["pump"], found.running)
    assert found["pump"].margin_degc[1] < 0
    assert margin[1] == 0 < warn_below[1]
