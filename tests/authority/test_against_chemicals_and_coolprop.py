"""Pure components against the `chemicals` library (VDI Heat Atlas PPDS coefficients) and CoolProp's reference equations of state."""

import numpy as np
import pytest
from hotfuel.fuel import components as c
from hotfuel.units import ZERO_DEGC_IN_K

chemicals = pytest.importorskip("chemicals")

IN_COOLPROP = {
    "n-butane": "n-Butane",
    "isopentane": "Isopentane",
    "n-pentane": "n-Pentane",
    "2-methylpentane": "Isohexane",
    "n-hexane": "n-Hexane",
    "n-heptane": "n-Heptane",
    "toluene": "Toluene",
    "m-xylene": "m-Xylene",
    "n-decane": "n-Decane",
    "ethanol": "Ethanol",
}


@pytest.mark.parametrize("row", c.COMPONENTS, ids=c.NAMES)
def test_wagner_coefficients_as_in_the_library(row):
    library = chemicals.vapor_pressure.Psat_data_VDI_PPDS_3.loc[row["cas"]]
    ours = [float(row[name]) for name in ("wagner_a", "wagner_b", "wagner_c", "wagner_d", "critical_k")]
    np.testing.assert_allclose(ours, [float(library[name]) for name in ("A", "B", "C", "D", "Tc")], rtol=1e-5)
    assert float(row["critical_kpa"]) * 1000 == pytest.approx(float(library["Pc"]), rel=1e-3)
    assert float(row["molar_mass_g_mol"]) == pytest.approx(chemicals.MW(row["cas"]), abs=0.002)


@pytest.mark.parametrize("name", IN_COOLPROP)
def test_vapour_pressure_latent_heat_and_liquid_against_coolprop(name, coolprop):
    i, fluid = c.NAMES.index(name), IN_COOLPROP[name]
    kelvin = np.array([0, 20, 37.8, 60, 90, 120]) + ZERO_DEGC_IN_K
    pressure = [coolprop.PropsSI("P", "T", t, "Q", 0, fluid) / 1000 for t in kelvin]
    np.testing.assert_allclose(np.exp(c.log_vapour_pressure(kelvin))[i], pressure, rtol=0.012, atol=0.02)
    latent = [
        coolprop.PropsSI("HMOLAR", "T", t, "Q", 1, fluid) - coolprop.PropsSI("HMOLAR", "T", t, "Q", 0, fluid) for t in kelvin[:5]
    ]
    np.testing.assert_allclose(c.latent_heat_j_mol(kelvin[:5])[i], latent, rtol=0.02)
    capacity = [coolprop.PropsSI("CPMOLAR", "T", t, "Q", 0, fluid) for t in kelvin[:4]]
    np.testing.assert_allclose(c.liquid_heat_capacity_j_mol_k(kelvin[:4])[i], capacity, rtol=0.02)
    assert c.DENSITY_15C_KG_M3[i] == pytest.approx(coolprop.PropsSI("D", "T", 288.15, "Q", 0, fluid), rel=0.001)


def test_slope_is_the_derivative():
    kelvin = np.array([250.0, 300.0, 380.0])
    numeric = (c.log_vapour_pressure(kelvin + 1e-3) - c.log_vapour_pressure(kelvin - 1e-3)) / 2e-3
    value, slope = c.log_vapour_pressure_and_slope(kelvin, np.arange(c.COUNT))
    np.testing.assert_allclose(slope, numeric, rtol=1e-6)
    np.testing.assert_allclose(value, c.log_vapour_pressure(kelvin), rtol=1e-12)
