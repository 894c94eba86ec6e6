"""API MPMS 11.1 / ASTM D1250, tables 54B (15 degC) and 6B (60 degF): constants of the gasoline band and values calculated from them."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import density

T54B = {
    720: {0: 1.01905, 15: 1.0, 20: 0.99360, 30: 0.98073, 40: 0.96777, 50: 0.95474, 60: 0.94163},
    740: {0: 1.01828, 20: 0.99386, 30: 0.98152, 40: 0.96910, 50: 0.95660, 60: 0.94404},
    750: {0: 1.01791, 20: 0.99398, 30: 0.98189, 40: 0.96972, 50: 0.95748, 60: 0.94518},
    745: {0: 1.01809, 30: 0.98171, 60: 0.94462},
    760: {0: 1.01756, 30: 0.98225, 50: 0.95834},
}
T6B = {
    55: {40: 1.01308, 80: 0.98682, 120: 0.96017},
    60: {40: 1.01361, 80: 0.98628, 100: 0.97245, 120: 0.95853},
    65: {40: 1.01415, 100: 0.97134},
}


@pytest.mark.parametrize("rho15", T54B)
def test_table_54b(rho15):
    degc = np.array(list(T54B[rho15]))
    np.testing.assert_allclose(density.volume_correction(rho15, degc - 15), list(T54B[rho15].values()), atol=1e-5)


@pytest.mark.parametrize("api", T6B)
def test_table_6b(api):
    degf = np.array(list(T6B[api]))
    rho60 = 141.5 / (api + 131.5) * 999.016  # the definition of API gravity, for water at 60 degF
    np.testing.assert_allclose(density.volume_correction(rho60, degf - 60, "6B"), list(T6B[api].values()), atol=2e-5)


def test_gasoline_constants_and_their_ratio():
    # 54B's constants are 1.8 times 6B's
    alpha = float(density.thermal_expansion(740))
    assert alpha == pytest.approx(346.4228 / 740**2 + 0.4388 / 740)
    assert alpha / float(density.thermal_expansion(740, "6B")) == pytest.approx(1.8, rel=2e-4)


def test_edges():
    with pytest.raises(InputError, match="653 to 1075"):
        density.density_at_kg_m3(600, 20)
    with pytest.raises(InputError, match="54B or 6B"):
        density.thermal_expansion(740, "24C")
    assert float(density.density_at_kg_m3(740, 15)) == 740
