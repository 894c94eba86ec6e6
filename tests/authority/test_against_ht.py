"""Against the `ht` library's effectiveness and NTU, for every arrangement of cooler supported here."""

import numpy as np
import pytest
from hotfuel.study.line import cooler
from ht import NTU_from_effectiveness, effectiveness_from_NTU

THEIRS = {
    "counterflow": "counterflow",
    "parallel flow": "parallel",
    "crossflow": "crossflow approximate",
    "bath": "boiler",
}
NTUS, RATIOS = (0.05, 0.3, 1.0, 2.5, 6.0), (0.0, 0.1, 0.5, 0.9, 1.0)


def test_every_arrangement_has_a_counterpart_in_ht():
    assert set(THEIRS) == set(cooler.ARRANGEMENTS)


@pytest.mark.parametrize("kind", list(cooler.ARRANGEMENTS))
def test_effectiveness(kind):
    for ntu in NTUS:
        for ratio in RATIOS:
            if ratio == 0 and kind == "crossflow":
                continue  # their formula divides by the ratio; the limit is in the textbook's test
            theirs = effectiveness_from_NTU(ntu, 0.0 if kind == "bath" else ratio, subtype=THEIRS[kind])
            assert cooler.effectiveness(ntu, ratio, kind) == pytest.approx(theirs, rel=1e-9), (ntu, ratio)


@pytest.mark.parametrize("kind", list(cooler.ARRANGEMENTS))
def test_ntu(kind):
    for ratio in (0.1, 0.5, 0.9):
        for share in (0.1, 0.3, 0.45):
            theirs = NTU_from_effectiveness(share, 0.0 if kind == "bath" else ratio, subtype=THEIRS[kind])
            assert cooler.ntu_of(share, ratio, kind) == pytest.approx(theirs, rel=1e-6), (share, ratio)


def test_the_crossflow_approximation_stays_near_the_exact_integral():
    for ntu in NTUS:
        for ratio in (0.1, 0.5, 0.9, 1.0):
            exact = effectiveness_from_NTU(ntu, ratio, subtype="crossflow")
            assert cooler.effectiveness(ntu, ratio, "crossflow") == pytest.approx(exact, rel=0.04), (ntu, ratio)
    assert np.isclose(cooler.effectiveness(1e-6, 0.5, "crossflow"), 1e-6, rtol=0.1)
