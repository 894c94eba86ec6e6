"""Ranges and editions of the published correlations."""

import pytest
from hotfuel.errors import InputError
from hotfuel.fuel import volatility
from hotfuel.fuel.components import rows


def test_every_data_row_names_its_source():
    for table in (
        "components",
        "d1250_constants",
        "d4814_vapour_lock",
        "d4814_volatility",
        "d5798_classes",
        "en228_volatility",
        "unifac_groups",
        "unifac_interactions",
    ):
        assert all(row["source"] for row in rows(table)), table


def test_blend_rule_is_the_linear_equation_without_ethanol_or_on_the_plateau():
    assert volatility.t_vl20_blend_degc(60, 55, 100, 0) == volatility.t_vl20_linear_degc(60, 55, 100)
    assert volatility.t_vl20_blend_degc(60, 55, 70, 10) == volatility.t_vl20_linear_degc(60, 55, 70)
    assert float(volatility.t_vl20_linear_degc(60, 55, 95) - volatility.t_vl20_blend_degc(60, 55, 95, 10)) == pytest.approx(
        0.17 * 24
    )


def test_ethanol_step_of_the_standard():
    assert float(volatility.t_vl20_ethanol_step_degc(60.0)) == pytest.approx(57.49)


@pytest.mark.parametrize(
    ("call", "allowed"),
    [
        (lambda: volatility.t_vl20_linear_degc(20, 55, 100), "35 to 115 kPa"),
        (lambda: volatility.t_vl20_linear_degc(60, 55, 200), "55 to 140 degC"),
        (lambda: volatility.class_row("d4814_vapour_lock", "2018", **{"class": "7"}), "choose 1, 2, 3, 4, 5, 6"),
    ],
)
def test_beyond_the_range_is_refused_with_the_range(call, allowed):
    with pytest.raises(InputError, match=allowed):
        call()
