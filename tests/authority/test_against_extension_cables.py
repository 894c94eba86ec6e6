"""IEC 60584-3, tolerances of type K extension and compensating cables, as a sensor maker tables them (undated); ASTM E230, KX standard, from memory."""

import numpy as np
import pytest
from hotfuel.car import Place
from hotfuel.temperature.accuracy import budget

CABLES = {"type K": 2.2, "KX class 1": 1.5, "KX class 2": 2.5, "KCA class 2": 2.5, "KCB class 2": 2.5}


@pytest.mark.parametrize(("wire", "limit_degc"), CABLES.items())
def test_the_cable_tolerance_counts_in_full_as_a_rectangular_distribution(wire, limit_degc):
    place = Place(name="pump", channel=0, role="pump", probe={"extension_wire": wire})
    (row,) = [row for row in budget(place) if row.name == "extension wire"]
    assert row.uncertainty_degc == pytest.approx(limit_degc / np.sqrt(3))
