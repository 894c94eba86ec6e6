"""Pulls on an engine or roller test stand, from files in whatever columns they come, as curves of power over engine speed."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import columns, delimited
from hotfuel.study.power.columns import Column
from hotfuel.units import parse

LEAST_POINTS = 5
LEAST_SPAN_RPM = 500.0
SLOWEST_RPM, FASTEST_RPM = 100.0, 25000.0
DISAGREEMENT = 0.03
STOICHIOMETRIC_AFR = 14.1  # air to fuel by mass for gasoline with 10 % ethanol; 14.7 without (common practice, no source)
_UNIT_PAIRS = (("Nm", "kW"), ("lb-ft", "hp"), ("Nm", "hp"), ("Nm", "PS"), ("lb-ft", "kW"))


@dataclass(frozen=True)
class Pull:
    """One sweep: rising rpm (n,), power kW and torque Nm (n,), optional fuel degC, lambda and air-flow columns (n,) or None.

    corrected: the header says the figures are corrected to standard weather. mapping: what was read from which column, for showing. number: the
    running number in the file's name, or None.
    """

    name: str
    rpm: np.ndarray
    power_kw: np.ndarray
    torque_nm: np.ndarray
    fuel_degc: np.ndarray | None = None
    lambda_ratio: np.ndarray | None = None
    air_flow: np.ndarray | None = None
    corrected: bool = False
    mapping: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read(
    path: str | Path, *, mapping: Mapping[str, str | int] | None = None, units: Mapping[str, str] | None = None
) -> list[Pull]:
    """The pulls of one file, upward sweeps in the order they were driven.

    mapping: {"rpm" | "torque" | "power" | "time" | "fuel" | "lambda" | "afr" | "air": header text or column number from 1}; units: {role: unit}.
    Raises InputError, one sentence that names the file.
    """
    file = Path(path)
    table = delimited.read(file)
    try:
        return from_table(table, file.stem, mapping=mapping or {}, units=units or {})
    except InputError as error:
        raise InputError(f"{file.name}: {error}") from None


def from_table(table: delimited.Table, name: str, *, mapping: Mapping[str, str | int], units: Mapping[str, str]) -> list[Pull]:
    """As `read`, for a table already read."""
    found = columns.assign(table.headers, table.units_row, mapping, units)
    rpm = _si(table, found["rpm"], "rpm")
    power, torque, remarks = _power_and_torque(table, found, rpm)
    usable = np.isfinite(rpm) & np.isfinite(power) & (rpm > 0)
    if not usable.any():
        raise InputError("no row has both an engine speed and a torque or power: export the pull again")
    fastest = float(rpm[usable].max())
    if not SLOWEST_RPM <= fastest <= FASTEST_RPM:
        raise InputError(
            f"the engine speed goes up to {fastest:g}: allowed is {SLOWEST_RPM:g} to {FASTEST_RPM:g} rpm; is it the right column"
        )
    shown = tuple(_shown(role, column) for role, column in found.items())
    optional: dict[str, np.ndarray] = {
        role: table.numbers[:, found[role].position] for role in ("lambda", "afr", "air") if role in found
    }
    if "fuel" in found:
        optional["fuel"] = _si(table, found["fuel"], "fuel")
    sweeps, left_out = sweeps_up(rpm, usable)
    notes = (
        *table.notes,
        *remarks,
        *([f"{left_out} row{'s' if left_out > 1 else ''} of downward sweep left out"] if left_out else []),
    )
    corrected = any(found[role].corrected for role in ("torque", "power") if role in found)
    pulls = []
    for i, rows in enumerate(sweeps):
        pull_name = name if len(sweeps) == 1 else f"{name} sweep {i + 1}"
        pulls.append(_pull(pull_name, rpm, power, torque, optional, rows, corrected, shown, notes))
    return pulls


def _pull(
    name: str,
    rpm: np.ndarray,
    power: np.ndarray,
    torque: np.ndarray,
    optional: Mapping[str, np.ndarray],
    rows: np.ndarray,
    corrected: bool,
    shown: tuple[str, ...],
    notes: tuple[str, ...],
) -> Pull:
    speeds, index = np.unique(rpm[rows], return_inverse=True)
    if len(speeds) < LEAST_POINTS or speeds[-1] - speeds[0] < LEAST_SPAN_RPM:
        raise InputError(
            f"a pull has {len(speeds)} engine speeds over {speeds[-1] - speeds[0]:.0f} rpm: "
            f"at least {LEAST_POINTS} over {LEAST_SPAN_RPM:.0f} rpm are needed"
        )
    counts = np.bincount(index)

    def averaged(values: np.ndarray) -> np.ndarray:
        return np.bincount(index, values[rows]) / counts  # a speed that comes twice counts with its mean

    lambda_ratio = optional.get("lambda")
    if lambda_ratio is None and "afr" in optional:
        lambda_ratio = optional["afr"] / STOICHIOMETRIC_AFR
    if len(speeds) < len(rows):
        notes = (*notes, "rows with a repeated engine speed averaged")
    worst = float(averaged(torque).min())
    if worst < 0:
        raise InputError(
            f"the torque goes down to {worst:.1f} Nm within the pull: leave overrun out, or turn the sign of the column"
        )
    return Pull(
        name=name,
        rpm=speeds,
        power_kw=averaged(power),
        torque_nm=averaged(torque),
        fuel_degc=None if "fuel" not in optional else averaged(optional["fuel"]),
        lambda_ratio=None if lambda_ratio is None else averaged(lambda_ratio),
        air_flow=None if "air" not in optional else averaged(optional["air"]),
        corrected=corrected,
        mapping=shown,
        notes=notes,
    )


def _si(table: delimited.Table, column: Column, role: str) -> np.ndarray:
    dimension = columns.ROLES[role][0]
    if not column.unit:
        raise InputError(f'the column "{column.header}" has no unit: say which, for example {role}=degF')
    values = table.numbers[:, column.position]
    return values * _factor(dimension, column.unit) + parse(f"0 {column.unit}", dimension)


def _factor(dimension: str, unit: str) -> float:
    return parse(f"1 {unit}", dimension) - parse(f"0 {unit}", dimension)


def _power_and_torque(
    table: delimited.Table, found: dict[str, Column], rpm: np.ndarray
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """(power kW, torque Nm, remarks); whichever is missing is worked out; both together are checked: power = torque x speed."""
    speed_rad_s = rpm * 2 * np.pi / 60
    raw: dict[str, np.ndarray] = {role: table.numbers[:, found[role].position] for role in ("torque", "power") if role in found}
    unit = {role: found[role].unit for role in raw}
    if len(raw) == 1:
        ((role, values),) = raw.items()
        if not unit[role]:
            example = "torque=lb-ft" if role == "torque" else "power=hp"
            raise InputError(f'the column "{found[role].header}" has no unit: say which, for example {example}')
        values = values * _factor(role, unit[role])
        if role == "torque":
            return values * speed_rad_s / 1000, values, []
        with np.errstate(divide="ignore", invalid="ignore"):
            return values, values * 1000 / speed_rad_s, []
    fits = {}
    for torque_unit, power_unit in _UNIT_PAIRS:
        if unit["torque"] in ("", torque_unit) and unit["power"] in ("", power_unit, "bhp" if power_unit == "hp" else power_unit):
            fits[(torque_unit, power_unit)] = _disagreement(raw, torque_unit, power_unit, speed_rad_s)
    if not fits or (unit["torque"] and unit["power"]):  # a unit outside the usual pairs, with each the other column may have
        pairs = sorted({(unit["torque"] or torque_unit, unit["power"] or power_unit) for torque_unit, power_unit in _UNIT_PAIRS})
        fits = {pair: _disagreement(raw, *pair, speed_rad_s) for pair in pairs}
    (torque_unit, power_unit), off = min(fits.items(), key=lambda item: abs(item[1]))
    if not abs(off) <= DISAGREEMENT:
        raise InputError(
            f"power in {power_unit} is {100 * off:+.0f} % off torque in {torque_unit} times engine speed: give the right units or columns"
        )
    remarks = []
    if not (unit["torque"] and unit["power"]):
        remarks.append(f"units found from power = torque × speed: {torque_unit} and {power_unit}")
    torque = raw["torque"] * _factor("torque", torque_unit)
    return raw["power"] * _factor("power", power_unit), torque, remarks


def _disagreement(raw: Mapping[str, np.ndarray], torque_unit: str, power_unit: str, speed_rad_s: np.ndarray) -> float:
    """Median of power / (torque x speed) - 1 over rows with a torque of weight."""
    product = raw["torque"] * _factor("torque", torque_unit) * speed_rad_s / 1000
    good = np.isfinite(product) & np.isfinite(raw["power"])
    if not good.any() or not (product[good] > 0).any():
        return np.inf
    good &= product > 0.2 * np.max(product[good])
    return float(np.median(raw["power"][good] * _factor("power", power_unit) / product[good])) - 1


def sweeps_up(rpm: np.ndarray, usable: np.ndarray) -> tuple[list[np.ndarray], int]:
    """(rows of each upward sweep, number of rows left out), rpm (n,) and usable (n,).

    Turning points count from a tenth of the speed range, so a wavering needle makes none. Sweeps over less than three fifths of the range are left
    out; where nothing is left (a file that only falls) all rows are one sweep.
    """
    rows = np.flatnonzero(usable)
    speeds = rpm[rows]
    span = float(speeds.max() - speeds.min())
    if span <= 0:
        return [rows], 0
    turns, low, high = [0], 0, 0
    rising: bool | None = None
    for i, speed in enumerate(speeds):
        high = i if speed >= speeds[high] else high
        low = i if speed < speeds[low] else low  # of a flat bottom the first row: a sweep begins there
        if rising is not False and speed < speeds[high] - span / 10:
            turns.append(high)
            rising, low = False, i
        elif rising is not True and speed > speeds[low] + span / 10:
            turns.append(low)
            rising, high = True, i
        if rising is True:
            low = i if speed >= speeds[high] else low
        if rising is False:
            high = i if speed <= speeds[low] else high
    turns = sorted({*turns, len(rows) - 1})
    sweeps = []
    for start, end in pairwise(turns):
        piece = rows[start : end + 1]
        if rpm[piece[-1]] - rpm[piece[0]] >= 0.6 * span:
            sweeps.append(piece)
    if not sweeps:
        return [rows], 0
    return sweeps, len(rows) - sum(len(s) for s in sweeps)


def _shown(role: str, column: Column) -> str:
    unit = f" in {column.unit}" if column.unit else ""
    return f'{role} from "{column.header}"{unit}'
