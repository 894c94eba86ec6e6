"""The seconds after an engine has died, while pulses are missing and nobody knows yet whether it stands."""

import pytest
import synthetic
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.units import Shown
from test_state_board import read

STEP_S = 0.2
DIES_S = 30.0
IDLE_PULSES = 850 / 60 * 4  # a second


def followed(session, passes_s, seconds, turns):
    """(time, what is shown behind the needle) at each change, read as it comes: boiling from passes_s on; turns(t): whether pulses come."""
    made = synthetic.Recording()
    path = session(made.data)
    pulses, shown = 0.0, []
    with LiveState(path) as state, (path / "wire.log").open("ab") as log:
        for number in range(round(seconds / STEP_S)):
            at, before = number * STEP_S, len(made.data)
            pulses += IDLE_PULSES * STEP_S if turns(at) else 0.0
            if number % 5 == 0:
                made.auxiliary(at, pulses, fuel_pressure_percent=40, battery_v=13.8)
            made.reading(at, [30.0, 35.0, 60.0 if at < passes_s else 66.0])
            log.write(made.data[before:])
            log.flush()
            now = read(state).situation()
            place = next((row for row in panel(now, Shown("si"))["places"] if row["place"] == "carb_inlet_needle"), None)
            if place and (not shown or shown[-1][1] != place["key"]):
                shown.append((round(at, 1), place["key"]))
    return shown


def dies(at):
    return at < DIES_S


@pytest.mark.parametrize("passes_s", [27.0, 29.0, 31.0, 33.0])
def test_boiling_behind_the_needle_as_an_engine_dies_is_the_note_it_is_after_a_stop_and_no_warning(session, passes_s):
    shown = followed(session, passes_s, 45.0, dies)
    assert [key for _, key in shown] == ["quiet", "ahead", "note"]
    assert shown[-1][0] <= DIES_S + 9, "known to stand"


def test_a_warning_from_before_it_died_stays_for_its_off_delay(session):
    shown = followed(session, 20.0, 100.0, dies)
    assert [key for _, key in shown] == ["quiet", "ahead", "act", "note"]
    assert shown[2][0] == pytest.approx(24.0, abs=0.5)
    assert shown[3][0] > DIES_S + 60


def test_an_engine_whose_pulses_are_lost_now_and_then_is_warned_of_as_soon(session):
    shown = followed(session, 31.0, 45.0, lambda at: int(at) % 3 != 0)
    assert shown[-1] == (pytest.approx(35.0, abs=1.0), "act")
    shown = followed(session, 31.0, 45.0, lambda at: not 30 <= at < 34)
    assert shown[-1][1] == "act", "pulses came back: it ran all the time"
    assert shown[-1][0] <= 40.0
