"""The first sentence of a review of a hot stop: of an injected line it is not known what pressure it held, of a carburettor's line it is."""

import numpy as np
import pytest
from hotfuel import session
from hotfuel.report.headline import BOILED, WITHIN_DOUBT, headline
from hotfuel.report.words import Clock
from hotfuel.session import folder
from hotfuel.study import story
from hotfuel.units import Shown

STOP_S, START_S, END_S = 300, 1500, 1620
CAR = """name = "x"
altitude = "100 m"
[fuel]
vapour_pressure = "60 kPa"
t10 = "55 degC"
t50 = "100 degC"
t90 = "165 degC"
ethanol = "0 %"
[pump]
kind = "electric_submerged"
pressure = "100 kPa"
[engine]
pulses_per_revolution = 4
[[place]]
name = "hose"
channel = 0
role = "line"
[[place]]
name = "inlet"
channel = 1
role = "{}"
"""


def reviewed(synthetic, path, role, gauge_kpa=None):
    """(headline, alarms) of five minutes' idling, a stop of twenty in which the hose comes to 75 degC, and two minutes' idling."""
    made = synthetic.Recording(places=("hose", "inlet"), period_ms=1000)
    made.anchor(0.0)
    pulses = 0.0
    for at in range(END_S):
        runs, since = not STOP_S <= at < START_S, max(at - STOP_S, 0)
        pulses += 850 / 60 * 4 * runs
        kpa = None if gauge_kpa is None else 100.0 if runs or at >= START_S - 3 else gauge_kpa  # primed before it is cranked
        made.auxiliary(at, pulses, battery_v=13.0, fuel_pressure_percent=None if kpa is None else 10 + 80 * kpa / 103.42)
        hot = 45.0 + 30.0 * (1 - np.exp(-since / 300.0)) * (1.0 if at < START_S else np.exp(-(at - START_S) / 30.0))
        made.reading(at, [hot, 45.0])
    kept = folder.create(path, CAR.format(role), {})
    kept.log_path.write_bytes(made.data)
    opened = session.open(kept.path)
    return headline(opened.summary(), story.tell(opened), Shown("si"), Clock(True, 0)), opened.alarms()


def test_an_injected_line_without_a_sender_may_have_held_its_pressure(synthetic, tmp_path):
    head, alarms = reviewed(synthetic, tmp_path / "a", "injector")
    assert head.kind == WITHIN_DOUBT and not len(alarms)
    assert head.sentence == (
        "While you were parked the fuel at the hose passed its boiling limit at the air's pressure; whether it boiled depends on the pressure that the "
        "line held, which nothing measured."
    )


@pytest.mark.parametrize(("gauge_kpa", "boiled"), [(3.0, True), (95.0, False)])
def test_with_a_sender_it_is_known(synthetic, tmp_path, gauge_kpa, boiled):
    head, alarms = reviewed(synthetic, tmp_path / "b", "injector", gauge_kpa)
    assert (head.kind == BOILED) == boiled and not len(alarms)
    assert head.sentence.startswith("The fuel boiled at the hose for ") == boiled
    assert "nothing measured" not in head.sentence


def test_a_carburettors_line_boiled_and_keeps_its_alarm(synthetic, tmp_path):
    head, alarms = reviewed(synthetic, tmp_path / "c", "carburettor")
    assert head.kind == BOILED and "The fuel boiled at the hose for " in head.sentence
    assert {("hose", "act")} <= set(zip(alarms["place"], alarms["level"].astype(str), strict=True))
