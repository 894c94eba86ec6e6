"""Power is torque times engine speed: the missing one is calculated, unstated units are found, and wrong ones detected."""

from collections.abc import Mapping

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import delimited
from hotfuel.study.power.columns import Column
from hotfuel.study.power.remarks import Kind, Remark
from hotfuel.study.power.spikes import LONGEST_ROWS
from hotfuel.units import UNITS

DISAGREEMENT = 0.03
_UNIT_PAIRS = (("Nm", "kW"), ("lb-ft", "hp"), ("Nm", "hp"), ("Nm", "PS"), ("lb-ft", "kW"))


def _factor(dimension: str, unit: str) -> float:
    return UNITS[dimension][unit][0]


def power_and_torque(
    table: delimited.Table, found: dict[str, Column], rpm: np.ndarray
) -> tuple[np.ndarray, np.ndarray, list[Remark], float]:
    """(power kW, torque Nm, remarks, median of power over torque x speed; nan for one column alone), rpm (n,).

    Raises InputError if a unit is missing or the columns disagree by more than 3 %.
    """
    speed_rad_s = rpm * 2 * np.pi / 60
    raw: dict[str, np.ndarray] = {role: table.numbers[:, found[role].position] for role in ("torque", "power") if role in found}
    unit = {role: found[role].unit for role in raw}
    if len(raw) == 1:
        ((role, values),) = raw.items()
        if not unit[role]:
            example = "--unit torque=lb-ft" if role == "torque" else "--unit power=hp"
            raise InputError(f'the column "{found[role].header}" has no unit: say which, for example {example}')
        values = values * _factor(role, unit[role])
        if role == "torque":
            return values * speed_rad_s / 1000, values, [], np.nan
        with np.errstate(divide="ignore", invalid="ignore"):
            return values, values * 1000 / speed_rad_s, [], np.nan
    fits = {}
    for torque_unit, power_unit in _UNIT_PAIRS:
        if unit["torque"] in ("", torque_unit) and unit["power"] in ("", power_unit, "bhp" if power_unit == "hp" else power_unit):
            fits[(torque_unit, power_unit)] = _disagreement(raw, torque_unit, power_unit, speed_rad_s)
    if not fits or (unit["torque"] and unit["power"]):  # a unit outside the usual pairs, with each unit the other column may have
        pairs = sorted({(unit["torque"] or torque_unit, unit["power"] or power_unit) for torque_unit, power_unit in _UNIT_PAIRS})
        fits = {pair: _disagreement(raw, *pair, speed_rad_s) for pair in pairs}
    (torque_unit, power_unit), off = min(fits.items(), key=lambda item: abs(item[1]))
    if not abs(off) <= DISAGREEMENT:
        raise InputError(
            f"power in {power_unit} is {100 * off:+.0f} % off torque in {torque_unit} times engine speed: give the right units (--unit) or columns (--column)"
        )
    remarks: list[Remark] = []
    if not (unit["torque"] and unit["power"]):
        remarks.append(Remark(Kind.UNITS_FOUND, words=(torque_unit, power_unit)))
    torque = raw["torque"] * _factor("torque", torque_unit)
    return raw["power"] * _factor("power", power_unit), torque, remarks, 1 + off


def _disagreement(raw: Mapping[str, np.ndarray], torque_unit: str, power_unit: str, speed_rad_s: np.ndarray) -> float:
    """Median of power / (torque x speed) - 1 over rows with more than a fifth of the largest power, without the few that may be spikes."""
    product = raw["torque"] * _factor("torque", torque_unit) * speed_rad_s / 1000
    good = np.isfinite(product) & np.isfinite(raw["power"])
    if not good.any() or not (product[good] > 0).any():
        return np.inf
    largest = np.sort(product[good])
    good &= product > 0.2 * largest[-1 - LONGEST_ROWS if len(largest) > 2 * LONGEST_ROWS else -1]
    return float(np.median(raw["power"][good] * _factor("power", power_unit) / product[good])) - 1
