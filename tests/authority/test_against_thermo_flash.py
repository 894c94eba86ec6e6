"""The flash against others: the `thermo` library (UNIFAC and a whole flash of the same composition), CoolProp's cubic equation, and by hand."""

import numpy as np
import pytest
from hotfuel.fuel import components as c
from hotfuel.fuel.activity import Activity
from hotfuel.fuel.flash import Feed
from hotfuel.fuel.mixture import Mixture

SUBGROUPS = {"n_ch3": 1, "n_ch2": 2, "n_ch": 3, "n_ach": 9, "n_acch3": 11, "n_oh": 14}  # numbers of the published UNIFAC list
GROUPS = [{number: int(row[name]) for name, number in SUBGROUPS.items() if row[name] != "0"} for row in c.COMPONENTS]
HYDROCARBONS = np.array([0.0617, 0.0666, 0.0442, 0.2287, 0.0900, 0.1670, 0.0769, 0.0461, 0.1270, 0.0917, 0])


def blend(ethanol):
    volumes = HYDROCARBONS / HYDROCARBONS.sum() * (1 - ethanol)
    volumes[c.ETHANOL] = ethanol
    return Feed.of_volumes(volumes)


@pytest.mark.parametrize("kelvin", [280.0, 330.0, 380.0])
def test_unifac_against_thermo(kelvin):
    unifac = pytest.importorskip("thermo.unifac")
    x = np.array([0.1, 0.05, 0.05, 0.05, 0.05, 0.2, 0.05, 0.05, 0.05, 0.05, 0.3])
    theirs = unifac.UNIFAC.from_subgroups(T=kelvin, xs=list(x), chemgroups=GROUPS).gammas()
    np.testing.assert_allclose(
        np.exp(Activity(np.arange(len(x)), np.array([kelvin])).log_gamma(x[:, None]))[:, 0], theirs, rtol=1e-10
    )


@pytest.mark.parametrize("ethanol", [0.0, 0.10, 0.85])
def test_flash_against_thermo(ethanol):
    # the same model in another solver: bubble point within 0.02 degC, vapour fraction within 0.0005
    thermo = pytest.importorskip("thermo")
    feed = blend(ethanol)
    names = [c.COMPONENTS[i]["cas"] for i in feed.which]
    constants, properties = thermo.ChemicalConstantsPackage.from_IDs(names)
    pressures = []
    for i in feed.which:
        kelvin = np.linspace(260, 420, 200)
        curve = 1000 * np.exp(c.log_vapour_pressure(kelvin)[i])
        fit = thermo.VaporPressure(CASRN="", Tc=c.CRITICAL_K[i])
        fit.add_tabular_data(list(kelvin), list(curve))
        pressures.append(fit)
    zs = list(feed.moles[:, 0])
    excess = thermo.unifac.UNIFAC.from_subgroups(T=330.0, xs=zs, chemgroups=[GROUPS[i] for i in feed.which])
    liquid = thermo.GibbsExcessLiquid(
        VaporPressures=pressures,
        HeatCapacityGases=properties.HeatCapacityGases,
        VolumeLiquids=properties.VolumeLiquids,
        GibbsExcessModel=excess,
        equilibrium_basis="Psat",
        caloric_basis="Psat",
        T=330.0,
        P=1e5,
        zs=zs,
    )
    gas = thermo.IdealGas(HeatCapacityGases=properties.HeatCapacityGases, T=330.0, P=1e5, zs=zs)
    flasher = thermo.FlashVL(constants, properties, liquid=liquid, gas=gas)
    mixture = Mixture(feed)
    for kpa in (80.0, 101.325):
        theirs = flasher.flash(zs=zs, P=1000 * kpa, VF=0).T - 273.15
        assert float(mixture.temperature_degc(kpa, 0)) == pytest.approx(theirs, abs=0.02)
        warmer = theirs + 6 if ethanol < 0.5 else theirs + 1
        share = flasher.flash(zs=zs, P=1000 * kpa, T=warmer + 273.15).VF
        ours = (
            float(mixture.vapour_liquid_ratio(warmer, kpa))
            * 1000
            * kpa
            * feed.liquid_volume_m3[0]
            / (c.GAS_CONSTANT * (warmer + 273.15))
        )
        assert ours == pytest.approx(share, abs=0.0005)


def test_bubble_point_against_a_cubic_equation_of_state(coolprop):
    # CoolProp, Peng-Robinson, real vapour and no activity model: a different method, so within 2 degC
    feed = Feed.of_volumes([0.06, 0.10, 0.06, 0, 0.25, 0.33, 0.20, 0, 0, 0, 0])
    fluids = ["n-Butane", "Isopentane", "n-Pentane", "n-Hexane", "n-Heptane", "Toluene"]
    state = coolprop.AbstractState("PR", "&".join(fluids))
    state.set_mole_fractions(list(feed.moles[:, 0]))
    state.update(coolprop.PQ_INPUTS, 101325, 0)
    assert float(Mixture(feed).temperature_degc(101.325, 0)) == pytest.approx(state.T() - 273.15, abs=2)


def test_pentane_heptane_by_hand():
    """Raoult's law calculated by hand with Antoine constants of Poling, Prausnitz and O'Connell (5th ed., appendix A): n-pentane
    log10(P/bar) = 3.97786 - 1064.840/(T - 41.136 K), n-heptane 4.02023 - 1263.909/(T - 56.718 K). x = 0.5/0.5 at 60 degC: P1 =
    214.1 kPa, P2 = 28.05 kPa, bubble pressure 121.1 kPa, y1 = 0.884; at 80 kPa the vapour fraction is 0.5 (K1-1)/(1+b(K1-1)) +
    0.5 (K2-1)/(1+b(K2-1)) = 0 with K1 = 2.676, K2 = 0.3507: b = 0.4719."""
    moles = np.zeros(11)
    moles[[c.NAMES.index("n-pentane"), c.NAMES.index("n-heptane")]] = 0.5
    feed = Feed.of_volumes(moles * c.VOLUME_15C_M3_MOL)
    mixture = Mixture(feed)
    # UNIFAC changes almost nothing between two alkanes
    assert float(mixture.pressure_kpa(60.0, 0)) == pytest.approx(121.1, rel=0.01)
    ratio = float(mixture.vapour_liquid_ratio(60.0, 80.0))
    share = ratio * 80_000 * feed.liquid_volume_m3[0] / (c.GAS_CONSTANT * 333.15)
    assert share == pytest.approx(0.4719, abs=0.02)
