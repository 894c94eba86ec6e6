"""A hot stop of an injected line in a second model: a lump of fuel of known composition in a closed line, at the pressure that its valves hold or let go.

The model is typed here: Antoine's equation (constants of Poling, Prausnitz, O'Connell), Raoult's law, a split by bisection, a lump heated by the engine
bay. Nothing of it is the project's.
"""

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.risk.margin import alarm_inputs, margins
from hotfuel.risk.pressure import Conditions
from hotfuel_wire import alarm

# (A, B, C of log10 P/Pa, molar mass g/mol, density at 15 degC kg/m3, volume fraction) of a gasoline of 60 kPa, T10 55, T50 100 degC
COMPONENTS = np.array(
    [
        (8.93266, 935.773, -34.361, 58.12, 584, 0.0617),  # n-butane
        (8.92023, 1022.880, -39.690, 72.15, 625, 0.0666),  # isopentane
        (8.97786, 1064.840, -41.136, 72.15, 631, 0.0442),  # n-pentane
        (8.98332, 1145.800, -45.335, 86.18, 658, 0.2287),  # 2-methylpentane
        (9.00139, 1170.875, -48.833, 86.18, 664, 0.0900),  # n-hexane
        (8.93646, 1257.850, -52.383, 114.23, 696, 0.1670),  # 2,2,4-trimethylpentane
        (9.05043, 1327.620, -55.525, 92.14, 872, 0.0769),  # toluene
        (9.14051, 1468.703, -57.030, 106.17, 869, 0.0461),  # m-xylene
        (9.17692, 1579.353, -63.860, 120.19, 880, 0.1270),  # 1,2,4-trimethylbenzene
        (9.06853, 1495.170, -79.292, 142.28, 734, 0.0917),  # n-decane
    ]
).T
AIR_KPA, HELD_KPA = 101.325, 100.0  # HELD_KPA: gauge
PRIMED_S, STEP_S = 3.0, 1.0  # the pump runs for so long with the key on before anybody cranks
RAN_S, STOOD_S = 300.0, 2400.0


def vapour_per_liquid(degc, kpa):
    """V/L of the second model's fuel: vapour over the volume of the whole as liquid at 15 degC."""
    a, b, c, mass, density, volume = COMPONENTS
    moles = volume * density / mass / (volume * density / mass).sum()
    saturation = 10 ** (a - b / (degc + 273.15 + c)) / 1000

    def excess(share):
        return float((moles * (saturation / kpa - 1) / (1 + share * (saturation / kpa - 1))).sum())

    if excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(50):
        low, high = ((low + high) / 2, high) if excess((low + high) / 2) > 0 else (low, (low + high) / 2)
    molar_volume_m3 = float((moles * mass / density).sum()) / 1000
    return low * 8.314 * (degc + 273.15) / (1000 * kpa) / molar_volume_m3


def hot_stop(bay_degc, leak_s):
    """(time, line's temperature, gauge pressure, running) of five minutes' idling, forty minutes' stop and two minutes' idling after the restart.

    bay_degc: the engine bay at the stop, which cools with 90 minutes. leak_s: time in which the held pressure falls to 1/e.
    """
    time_s = np.arange(0.0, RAN_S + STOOD_S + 120.0, STEP_S)
    stopped = (time_s >= RAN_S) & (time_s < RAN_S + STOOD_S)
    since_s = time_s - RAN_S
    bay = np.where(since_s < 0, 60.0, 35.0 + (bay_degc - 35.0) * np.exp(-np.maximum(since_s, 0) / 5400.0))
    degc = np.empty_like(time_s)
    now = 45.0
    for row, stands in enumerate(stopped):
        # standing fuel takes up the bay's heat in eight minutes; flowing fuel is replaced by the tank's in two
        now += STEP_S * ((bay[row] - now) / 480.0 if stands else (45.0 - now) / 120.0)
        degc[row] = now
    primed = since_s >= STOOD_S - PRIMED_S
    gauge = np.where(stopped & ~primed, HELD_KPA * np.exp(-np.maximum(since_s, 0) / leak_s), HELD_KPA)
    return time_s, degc, gauge, (~stopped).astype(float)


def car_with(role):
    """A car with a hose of role "line" before an inlet of that role."""
    return car_file.load(
        '[fuel]\nvapour_pressure = "60 kPa"\nt10 = "55 degC"\nt50 = "100 degC"\nt90 = "165 degC"\nethanol = "0 %"\n'
        f'[pump]\nkind = "electric_submerged"\npressure = "{HELD_KPA} kPa"\n'
        '[[place]]\nname = "hose"\nchannel = 0\nrole = "line"\nprobe = { mount = "axial", sheath = "1.0 mm" }\n'
        f'[[place]]\nname = "inlet"\nchannel = 1\nrole = "{role}"\n'
    )


def alarms_of(car, time_s, degc, running, gauge=None):
    """(the highest level shown in the stop, after the restart, the margins) at the hose."""
    given = {"running": running, "time_s": time_s} | ({} if gauge is None else {"fuel_pressure_kpa": gauge})
    found = margins(car, car.fuel(), {"hose": degc}, Conditions(**given))
    machine, shown = alarm.Alarms(1, lambda *_: None), []
    for margin, below, seen in zip(*alarm_inputs(found["hose"], found.running), strict=True):
        if seen:
            machine.update(0, int(margin), int(below), round(1000 * STEP_S))
        shown.append(machine.shown())
    began = np.flatnonzero(running == 0)
    return max(shown[began[0] : began[-1] + 1]), max(shown[began[-1] + 1 :]), found["hose"]


def test_the_second_models_fuel_is_the_cars():
    fuel = car_with("injector").fuel()
    for kpa in (AIR_KPA, AIR_KPA + HELD_KPA):
        degc = np.arange(40.0, 110.0, 0.25)
        first = degc[np.array([vapour_per_liquid(one, kpa) for one in degc]) > 0][0]
        assert float(fuel.bubble_point_degc(kpa)) == pytest.approx(first, abs=2.5)


@pytest.mark.parametrize("leak_s", [1e9, 1200.0, 60.0])
def test_a_usual_hot_stop_raises_nothing_at_an_injected_cars_line_and_an_alarm_before_a_carburettor(leak_s):
    """The line holds its pressure, leaks down in an hour, or lets go at once. Only where it lets go does vapour form, and with the key on the pump
    presses it back into liquid before the engine turns: nothing is lost."""
    time_s, degc, gauge, running = hot_stop(bay_degc=90.0, leak_s=leak_s)
    truth = np.array([vapour_per_liquid(one, AIR_KPA + kpa) for one, kpa in zip(degc[::10], gauge[::10], strict=True)])
    standing = running[::10] == 0
    assert (truth[standing].max() > 5.0) == (leak_s < 1e9), "with its pressure gone it does boil"
    assert vapour_per_liquid(degc[running == 0][-1], AIR_KPA + HELD_KPA) == 0.0, "primed, it is liquid again"
    assert truth[~standing].max() == 0.0, "the running engine never has vapour"
    stop, restart, margin = alarms_of(car_with("injector"), time_s, degc, running)
    assert margin.margin_degc.min() < -5.0, "at the air's pressure it is beyond its limit: the tables still say so"
    assert (stop, restart) == (alarm.QUIET, alarm.QUIET)
    stop, _, _ = alarms_of(car_with("carburettor"), time_s, degc, running)
    assert stop == alarm.ACT


def test_what_still_boils_at_the_regulators_pressure_is_an_alarm_from_the_restart_on():
    time_s, degc, _, running = hot_stop(bay_degc=125.0, leak_s=60.0)
    assert vapour_per_liquid(degc[running == 0][-1], AIR_KPA + HELD_KPA) > 0.5, "the pump's pressure does not condense it"
    stop, restart, _ = alarms_of(car_with("injector"), time_s, degc, running)
    assert (stop, restart) == (alarm.QUIET, alarm.ACT)


def test_with_a_sender_the_margin_follows_the_pressure_that_is_held():
    """Boiling begins where the second model has it begin, within the fuel's doubt."""
    for leak_s in (1e9, 1200.0):
        time_s, degc, gauge, running = hot_stop(bay_degc=90.0, leak_s=leak_s)
        stop, restart, margin = alarms_of(car_with("injector"), time_s, degc, running, gauge)
        boils = np.array([vapour_per_liquid(one, AIR_KPA + kpa) > 0 for one, kpa in zip(degc, gauge, strict=True)])
        primed_s = (
            RAN_S + STOOD_S - PRIMED_S
        )  # a limit has the lowest pressure of the last 5 s: for so long it lags behind the pump
        clear = (np.abs(margin.margin_degc) > 3.0) & ((time_s < primed_s) | (time_s >= primed_s + 5.0))
        assert ((margin.margin_degc < 0) == boils)[clear].all() and clear.mean() > 0.4
        assert boils.any() == (leak_s < 1e9)
        assert (stop, restart) == (alarm.QUIET, alarm.QUIET)


def test_a_pressure_that_only_injection_has_asks_for_the_role_where_no_place_has_it():
    """Without it the line keeps the alarms of a carburettor's, and `limits` says how to change that."""
    from hotfuel.risk.limits_card import limits_card

    text = '[fuel]\nclass = "D4814 A-1"\n[pump]\nkind = "electric_submerged"\npressure = "3 bar"\n[[place]]\nname = "hose"\nchannel = 0\nrole = "line"\n'
    said = [note for note in limits_card(car_file.load(text)).notes if 'no place has the role "injector"' in note]
    assert len(said) == 1 and "300.0 kPa" in said[0]
    for more in (text.replace("3 bar", "35 kPa"), text + '[[place]]\nname = "rail"\nchannel = 1\nrole = "injector"\n'):
        assert not any("no place has the role" in note for note in limits_card(car_file.load(more)).notes)
