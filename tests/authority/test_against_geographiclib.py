"""Distances on the local plane against geodesics on the WGS 84 ellipsoid (C. F. F. Karney, Algorithms for geodesics, J. Geodesy
87, 2013) from the author's library."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hotfuel.study.drive.ground import Plane
from hypothesis import given
from hypothesis import strategies as st


@given(st.floats(-75, 75), st.floats(-180, 180), st.floats(0, 360), st.floats(1, 10_000))
def test_ten_kilometres_are_right_to_one_part_in_a_thousand(latitude, longitude, heading, metres):
    there = Geodesic.WGS84.Direct(latitude, longitude, heading, metres)
    x, y = Plane(latitude, longitude).metres(there["lat2"], there["lon2"])
    assert np.hypot(x, y) == pytest.approx(metres, rel=1e-3)
    assert np.hypot(x - metres * np.sin(np.radians(heading)), y - metres * np.cos(np.radians(heading))) <= 5e-3 * metres


@pytest.mark.parametrize("latitude", [0.0, 40.0, -52.0, 68.0])
def test_a_lap_about_a_point_has_its_geodesic_length(latitude):
    angle = np.linspace(0, 2 * np.pi, 400)
    north, east = latitude + 0.004 * np.sin(angle), 11.0 + 0.006 * np.cos(angle)
    x, y = Plane(latitude, 11.0).metres(north, east)
    ours = np.hypot(np.diff(x), np.diff(y)).sum()
    theirs = sum(
        Geodesic.WGS84.Inverse(*a, *b)["s12"]
        for a, b in zip(zip(north, east, strict=True), list(zip(north, east, strict=True))[1:], strict=False)
    )
    assert ours == pytest.approx(theirs, rel=1e-4)
