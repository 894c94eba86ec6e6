"""Pulls on an engine or roller test stand as curves of power over engine speed, from files with any columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import columns, delimited, facts, layouts, workbook
from hotfuel.study.power.columns import Column
from hotfuel.study.power.facts import Facts
from hotfuel.study.power.layouts import Part
from hotfuel.study.power.product import power_and_torque
from hotfuel.study.power.remarks import Kind, Remark
from hotfuel.study.power.spikes import spikes
from hotfuel.study.power.sweeps import sweeps_up

LEAST_POINTS = 5
LEAST_SPAN_RPM = 500.0
SLOWEST_RPM, FASTEST_RPM = 100.0, 25000.0
STOICHIOMETRIC_AFR = 14.1  # air to fuel by mass for gasoline with 10 % ethanol; 14.7 without (common practice, no source)
_EXTRA = ("time", "intake", "barometer", "humidity", "coolant", "oil", "speed", "fuel", "gear", "spark")


@dataclass(frozen=True)
class Pull:
    """One sweep: rising rpm (n,), power kW and torque Nm (n,), optional fuel degC, lambda and air-flow columns (n,) or None.

    corrected: the file states that the figures are corrected to standard weather; measured: that they are not. mapping: what was read from which column,
    as text. remarks: what was left out or found.
    facts: what else the file states about this pull. file, position: the file, and the number of the pull in it, from 1. number: its
    running number in the file or by the file's name, None where there is none. system: "us" or "si", the units of the file, "" unknown.
    unit_check: median of power over torque times speed, nan for one column alone.
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
    remarks: tuple[Remark, ...] = ()
    facts: Facts = field(default_factory=Facts)
    file: str = ""
    position: int = 1
    measured: bool = False
    system: str = ""
    unit_check: float = np.nan

    @property
    def number(self) -> int | None:
        """The running number the file gives this pull."""
        return self.facts.number


def read(
    path: str | Path, *, mapping: Mapping[str, str | int] | None = None, units: Mapping[str, str] | None = None
) -> list[Pull]:
    """The pulls of one file (text or .xlsx): its upward sweeps, in file order.

    mapping: {role (columns.ROLES): heading or column number from 1}; units: {role: unit}. A part that is not a pull, among others that are, is left out
    with a remark. Raises InputError, one sentence that names the file.
    """
    file = Path(path)
    tables = workbook.read(file) if workbook.is_workbook(file) else [delimited.read(file)]
    found: list[Pull] = []
    problems: list[str] = []
    for table in tables:
        for part in _parts(table, mapping or {}):
            name = f"{file.stem} {part.label}".strip()
            try:
                found += from_table(part.table, name, mapping=mapping or {}, units=units or {}, number=part.number)
            except InputError as error:
                problems.append(f"{part.label}: {error}" if part.label else str(error))
    if not found:
        raise InputError(f"{file.name}: {problems[0]}")
    left_out = tuple(Remark(Kind.NO_PULL, words=(problem,)) for problem in problems)
    return [
        replace(pull, file=str(file), position=i, remarks=(*pull.remarks, *(left_out if i == 1 else ())))
        for i, pull in enumerate(found, start=1)
    ]


def numbers(pulls: Sequence[Pull]) -> list[int]:
    """The number by which each pull of a file is chosen: its running number if all differ, else its position from 1."""
    own = [pull.number for pull in pulls]
    known = [number for number in own if number is not None]
    return known if len(set(known)) == len(pulls) else [pull.position for pull in pulls]


def _parts(table: delimited.Table, mapping: Mapping[str, str | int]) -> list[Part]:
    """The tables of the pulls; the whole table if it alone has the columns named in `mapping`."""
    found = layouts.parts(table)
    wanted = [str(name).strip().casefold() for name in mapping.values()]

    def has(one: delimited.Table) -> bool:
        headers = [header.strip().casefold() for header in one.headers]
        return all(name in headers or (name.isdigit() and one.headers == table.headers) for name in wanted)

    if wanted and not all(has(part.table) for part in found) and len(found) > 1:
        return [Part(table, None, table.label)]
    return found


def from_table(
    table: delimited.Table, name: str, *, mapping: Mapping[str, str | int], units: Mapping[str, str], number: int | None = None
) -> list[Pull]:
    """As `read`, for the table of one part of a file."""
    found = columns.assign(table.headers, table.units_row, mapping, units)
    told = facts.of_lines(table.above)
    rpm = _si(table, found["rpm"], "rpm")
    power, torque, remarks, check = power_and_torque(table, found, rpm)
    usable = np.isfinite(rpm) & np.isfinite(power) & (rpm > 0)
    if not usable.any():
        raise InputError("no row has both an engine speed and a torque or power: export the pull again")
    fastest = float(rpm[usable].max())
    if not SLOWEST_RPM <= fastest <= FASTEST_RPM:
        raise InputError(
            f"the engine speed goes up to {fastest:g}: allowed is {SLOWEST_RPM:g} to {FASTEST_RPM:g} rpm; is it the right column (--column rpm=HEADING)"
        )
    optional: dict[str, np.ndarray] = {
        role: table.numbers[:, found[role].position] for role in ("lambda", "afr", "air") if role in found
    }
    extra = _extra(table, found, mapping, remarks)
    if "fuel" in extra:
        optional["fuel"] = extra["fuel"]
    sweeps, left_out = sweeps_up(rpm, usable)
    whole_file = (*table.remarks, *remarks, *([Remark(Kind.DOWNWARD, left_out)] if left_out else []))
    curve = [found[role] for role in ("torque", "power") if role in found]
    said = [columns.corrected_by(column.header) for column in curve]
    word = True if True in said else False if False in said else told.get("corrected")
    pulls = []
    for i, rows in enumerate(sweeps):
        pull = _pull(name if len(sweeps) == 1 else f"{name} sweep {i + 1}", rpm, power, torque, optional, rows, whole_file)
        pulls.append(
            replace(
                pull,
                corrected=word is True,
                measured=word is False,
                mapping=tuple(
                    _source(role, column) for role, column in found.items() if role in (*columns.NEEDED, *optional, *extra)
                ),
                facts=facts.of_pull(told, rpm, rows, extra, number),
                system="us"
                if any(column.unit in ("lb-ft", "lbft", "ft-lb", "hp", "bhp") for column in curve)
                else "si"
                if check == check or curve[0].unit
                else "",
                unit_check=check,
            )
        )
    return pulls


def _extra(
    table: delimited.Table, found: dict[str, Column], mapping: Mapping[str, str | int], remarks: list[Remark]
) -> dict[str, np.ndarray]:
    """Optional columns, SI; one without a unit is left out with a remark, unless `mapping` names it."""
    extra = {}
    for role in _EXTRA:
        column = found.get(role)
        if column is None:
            continue
        if columns.ROLES[role] and not column.unit and role not in mapping:
            remarks.append(Remark(Kind.NO_UNIT, words=(column.header, role)))
            continue
        extra[role] = _si(table, column, role) if columns.ROLES[role] else table.numbers[:, column.position]
    return extra


def _pull(
    name: str,
    rpm: np.ndarray,
    power: np.ndarray,
    torque: np.ndarray,
    optional: Mapping[str, np.ndarray],
    rows: np.ndarray,
    remarks: tuple[Remark, ...],
) -> Pull:
    wrong = spikes(rpm[rows], torque[rows]) | spikes(rpm[rows], power[rows])
    if wrong.any():
        remarks = (*remarks, Remark(Kind.LONE_READING, rpm=tuple(np.round(rpm[rows[wrong]], -1).tolist())))
        rows = rows[~wrong]
    speeds, index = np.unique(rpm[rows], return_inverse=True)
    if len(speeds) < LEAST_POINTS or speeds[-1] - speeds[0] < LEAST_SPAN_RPM:
        raise InputError(
            f"a pull has {len(speeds)} engine speeds over {speeds[-1] - speeds[0]:.0f} rpm: "
            f"at least {LEAST_POINTS} over {LEAST_SPAN_RPM:.0f} rpm are needed"
        )
    counts = np.bincount(index)

    def averaged(values: np.ndarray) -> np.ndarray:
        return np.bincount(index, values[rows]) / counts  # a repeated engine speed counts once, with its mean

    lambda_ratio = optional.get("lambda")
    if lambda_ratio is None and "afr" in optional:
        lambda_ratio = optional["afr"] / STOICHIOMETRIC_AFR
    if len(speeds) < len(rows):
        remarks = (*remarks, Remark(Kind.AVERAGED))
    worst = float(averaged(torque).min())
    if worst < 0:
        raise InputError(
            f"the torque goes down to {worst:.1f} Nm within the pull: leave overrun out, or reverse the sign of the column"
        )
    return Pull(
        name=name,
        rpm=speeds,
        power_kw=averaged(power),
        torque_nm=averaged(torque),
        fuel_degc=None if "fuel" not in optional else averaged(optional["fuel"]),
        lambda_ratio=None if lambda_ratio is None else averaged(lambda_ratio),
        air_flow=None if "air" not in optional else averaged(optional["air"]),
        remarks=remarks,
    )


def _si(table: delimited.Table, column: Column, role: str) -> np.ndarray:
    if not column.unit:
        raise InputError(f'the column "{column.header}" has no unit: say which, for example --unit {role}=degF')
    return facts.si(table.numbers[:, column.position], columns.ROLES[role], column.unit)


def _source(role: str, column: Column) -> str:
    unit = f" in {column.unit}" if column.unit else ""
    return f'{role} from "{column.header}"{unit}'
