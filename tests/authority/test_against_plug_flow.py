"""Against an independent numerical solution of plug flow with heat exchange: parcels followed along the pipe (characteristics) in fine steps.

d T/d t + q/A d T/d x = UA / (rho cp V) (T_s - T), the textbook equation of a tubular heat exchanger without mixing.
"""

from collections import deque

import numpy as np
import pytest
from hotfuel.simulator.plug_flow import Line
from hotfuel.study.line import hose, plug_flow

RHO_CP_J_ML_K = 0.74 * 2.1


def parcels(time_s, inlet, flow_l_h, volume_ml, ua_w_k, around, fine=10):
    """Each small volume that enters is tracked: it is warmed step by step and leaves when as much has entered behind it."""
    row = deque([[volume_ml, inlet[0]]])
    out, step = [inlet[0]], (time_s[1] - time_s[0]) / fine
    keep = np.exp(-step * ua_w_k / (RHO_CP_J_ML_K * volume_ml))
    for n in range(1, len(time_s)):
        for k in range(fine):
            w = (k + 0.5) / fine
            entering = (1 - w) * flow_l_h[n - 1] + w * flow_l_h[n]
            beside = (1 - w) * around[n - 1] + w * around[n]
            for parcel in row:
                parcel[1] = beside + (parcel[1] - beside) * keep
            room = entering / 3.6 * step
            if room > 0:
                row.appendleft([room, (1 - w) * inlet[n - 1] + w * inlet[n]])
            while room > 1e-12 and len(row) > 1:
                last = row[-1]
                part = min(last[0], room)
                last[0] -= part
                room -= part
                if last[0] <= 1e-12:
                    row.pop()
        out.append(row[-1][1])
    return np.array(out)


@pytest.fixture(scope="module")
def drive():
    """Flow that steps, ramps and stops, a sinusoidal inlet temperature, surroundings that warm up slowly."""
    t = np.arange(0, 420.0)
    flow = np.interp(t, [0, 60, 61, 140, 150, 230, 231, 290, 291, 420], [12, 12, 40, 40, 5, 5, 0, 0, 15, 15])
    inlet = 45 + 8 * np.sin(t / 35) + 4 * np.sin(t / 11)
    around = 60 + 0.03 * t
    return t, inlet, flow, around


@pytest.mark.parametrize(("volume_ml", "ua"), [(80, 0.7), (150, 0.1), (60, 3.0)])
def test_outlet(drive, volume_ml, ua):
    t, inlet, flow, around = drive
    numerical = parcels(t, inlet, flow, volume_ml, ua, around)
    ours = plug_flow.outlet(t, inlet, flow, volume_ml / 1000, ua, around, density_kg_m3=740, cp_j_kg_k=2100)
    after = np.cumsum(flow) / 3.6 > 1.2 * volume_ml  # what filled the pipe at first is the test's own choice
    assert after.sum() > 300
    # half a sample of delay where the inlet changes by up to 0.6 degC a second
    assert np.abs(ours - numerical)[after].max() < 0.35
    assert np.sqrt(np.mean((ours - numerical)[after] ** 2)) < 0.1


def test_volume_and_ua_are_recovered_from_the_numerical_solution(drive):
    t, inlet, flow, around = drive
    numerical = parcels(t, inlet, flow, 80, 0.7, around)
    noise = np.random.default_rng(5).normal(0, 0.05, len(t))
    found = hose.fit(t, plug_flow.lagged(t, inlet, 2), plug_flow.lagged(t, numerical, 6) + noise, hose.flow_from_meter(flow), surroundings_degc=around,
                     upstream_lag_s=2, downstream_lag_s=6)  # fmt: skip
    assert found.volume_l == pytest.approx(0.080, rel=0.03)
    assert found.ua_w_k == pytest.approx(0.7, rel=0.1)
    assert abs(found.volume_l - 0.080) < 3 * found.volume_u_l
    assert abs(found.ua_w_k - 0.7) < 3 * found.ua_u_w_k


def test_steady_state_is_the_textbooks_exponential():
    # By hand: 10 L/h x 0.74 x 2100 / 3600 = 4.317 W/K; exp(-1 / 4.317) = 0.7932; 60 - 20 x 0.7932 = 44.14 degC
    t = np.arange(0, 400.0)
    ours = plug_flow.outlet(t, np.full(400, 40.0), 10.0, 0.08, 1.0, 60.0)
    assert ours[-1] == pytest.approx(44.14, abs=0.01)


def test_the_simulated_cars_line_agrees():
    line, t = Line(80.0, 0.7, 45.0, 40), np.arange(0, 300, 0.25)
    inlet = 45 + 6 * np.sin(t / 20)
    flow = np.where(t < 150, 20.0, 8.0)
    marched = np.array([line.step(0.25, q / 3.6, x, 60.0) for q, x in zip(flow, inlet, strict=True)])
    ours = plug_flow.outlet(t, inlet, flow, 0.080, 0.7, 60.0)
    assert np.abs(ours - marched)[t > 30].max() < 0.25
