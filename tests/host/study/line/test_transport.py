"""The line between two places as determined from a session, on drives of the simulated car: the part chosen, its flow, what is
reported and what is not."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from driven import Driven
from hotfuel.car import EXAMPLE, load
from hotfuel.report import line_words
from hotfuel.report.line_words import FLOW
from hotfuel.simulator.scenarios import EIGHT_PROBES, scenarios
from hotfuel.study.drive.course import of_session
from hotfuel.study.line import transport
from hotfuel.units import Shown

ROLES = {
    "tank": "tank",
    "pump": "pump",
    "pump_outlet": "line",
    "carb_inlet": "carburettor",
    "bowl": "bowl",
    "bonnet": "air",
    "ambient": "air",
}
PLACES = "".join(
    f'[[place]]\nname = "{name}"\nchannel = {number}\nrole = "{role}"\n' for number, (name, role) in enumerate(ROLES.items())
)
EIGHT = load(EXAMPLE[: EXAMPLE.index("[[place]]")] + PLACES)
VOLUME_L, UA_W_K = 0.080, 0.73  # of the simulated hose: air 0.7 and exhaust 0.03 W/K


@cache
def course(name, car=EIGHT):
    session = Driven(replace(scenarios()[name], probes=EIGHT_PROBES), car=car)
    return of_session(session), session.truth.iloc[::4]


def section(name, car=EIGHT):
    found, truth = course(name, car)
    (one,) = [s for s in transport.sections(found) if s.before == "pump_outlet"]
    return one, truth[(truth.time_s >= one.start_s) & (truth.time_s <= one.end_s)]


@pytest.mark.parametrize("name", ["summer drive", "as built", "steady 40 mph"])
def test_a_section_against_the_truth_with_the_flow_from_engine_speed(name):
    one, truth = section(name)
    found = one.hose
    assert abs(found.volume_l - VOLUME_L) < 2 * found.volume_u_l
    assert abs(found.ua_w_k - UA_W_K) < 2 * found.ua_u_w_k
    assert abs(found.heat_w - truth.hose_heat_w.mean()) < 2 * found.heat_u_w
    assert found.ua_u_w_k < UA_W_K  # and it is precise enough to be useful
    assert one.end_s - one.start_s <= transport.LONGEST_S
    assert FLOW[found.flow_basis].startswith("engine speed, displacement and mixture")


def test_flow_is_what_the_engine_burns_plus_what_returns():
    found, truth = course("summer drive")
    flow = transport.flow_of(found)
    running = truth.engine_rpm.to_numpy() > 400
    assert np.median(flow.litres_h[running]) == pytest.approx(np.median(truth.used_l_h[running]), rel=0.35)
    pulls = truth.used_l_h.to_numpy() > 45
    assert pulls.sum() > 20
    assert flow.litres_h[pulls].mean() == pytest.approx(truth.used_l_h[pulls].mean(), rel=0.35)
    assert "in pulls specific consumption" in FLOW[flow.basis]
    part = np.where(np.arange(len(found.time_s)) < 300, 11.0, np.nan)
    metered = transport.flow_of(replace(found, inputs={**found.inputs, "flow_l_h": part}))
    assert FLOW[metered.basis] == f"measured by a meter in part, else {FLOW[flow.basis]}"
    back = load(EXAMPLE.replace("# return_flow", "return_flow"))
    more = transport.flow_of(replace(found, car=back))
    assert (more.litres_h - flow.litres_h)[running & ~pulls].mean() == pytest.approx(20.0, abs=0.5)
    assert np.all(more.litres_h[truth.engine_rpm.to_numpy() == 0] == 0)


def test_without_displacement_only_the_delay_is_given():
    car = EIGHT.model_copy(update={"engine": EIGHT.engine.model_copy(update={"displacement_l": None})})
    one, truth = section("summer drive", car)
    assert all(np.isnan(value) for value in (one.hose.heat_w, one.hose.ua_w_k, one.hose.volume_l))
    # given for a period at one engine speed, whose flow is roughly constant
    assert np.ptp(truth.engine_rpm.rolling(10).mean().dropna()) < 0.4 * truth.engine_rpm.median()
    assert abs(one.hose.delay_s - VOLUME_L / truth.flow_l_h.median() * 3600) < 2 * one.hose.delay_u_s
    assert one.hose.delay_u_s < 0.5 * one.hose.delay_s  # a period at one speed holds fewer changes than the whole
    assert "neither volume nor heat" in line_words.section(one, Shown("si"))


def test_without_flow_and_engine_speed_no_delay_is_given():
    found, _ = course("summer drive")
    car = EIGHT.model_copy(update={"engine": EIGHT.engine.model_copy(update={"displacement_l": None})})
    blind = replace(found, car=car, inputs=found.inputs | {"engine_rpm": np.full(len(found.time_s), np.nan)})
    last = transport.sections(blind)[-1]
    assert last.hose is None
    assert line_words.section(last, Shown("si")).startswith("Neither the fuel's flow nor the engine's speed was read")


def test_a_declared_volume_is_used():
    car = load(
        EXAMPLE[: EXAMPLE.index("[[place]]")]
        + PLACES.replace('role = "carburettor"', 'role = "carburettor"\nvolume_from_previous = "0.08 L"')
    )
    one, truth = section("summer drive", car)
    assert (one.hose.volume_l, one.hose.volume_u_l) == (VOLUME_L, 0.0)
    assert abs(one.hose.delay_s - VOLUME_L / np.median(truth.flow_l_h) * 3600) < 2 * one.hose.delay_u_s


def test_the_largest_change_is_given_in_the_readers_units():
    found, _ = course("summer drive")
    told = transport.changed_most(transport.sections(found))
    said = line_words.section(told, Shown("us"))
    assert told.place == "carb_inlet"  # after the stop its hose is full of hot fuel, and cooler fuel follows
    assert "carb inlet became cooler" in said
    assert "°F" in said
    at = told.hose.changed_at_s
    values = found.degc["carb_inlet"]
    assert values[int(at)] - values[int(at) - 30] == pytest.approx(told.hose.changed_degc, abs=0.5)
    assert transport.changed_most(transport.sections(found), least_degc=50) is None


def test_a_constant_temperature_is_reported_and_a_bowl_is_not_a_hose():
    found, _ = course("as built")
    sections = transport.sections(found)
    assert [(s.before, s.place) for s in sections] == [("tank", "pump"), ("pump", "pump_outlet"), ("pump_outlet", "carb_inlet")]
    assert sections[0].hose is None
    assert "tank hardly changes" in line_words.section(sections[0], Shown("si"))


def test_no_car_no_engine_no_section():
    found, _ = course("as built")
    assert transport.sections(replace(found, car=None)) == ()
    standing = replace(found, inputs=found.inputs | {"engine_rpm": np.zeros_like(found.time_s)})
    assert transport.sections(standing) == ()
