"""Inputs that only some boards have (hotfuel.wired), from raw codes and pulse counts to columns in SI, and the flow through the line."""

from collections.abc import Mapping

import numpy as np

from hotfuel.car import Car
from hotfuel.samples import table
from hotfuel.wired import Input, line_flow_l_h

FLOW = "flow_l_h"
_GROUP = table.GROUPS["more_inputs"]
_COUNT_WRAP = 1 << 30
_PULSES_LEAST = 10  # a flow is the mean over this many pulses: one more or less changes it by a tenth
_WINDOW_S = (1.0, 10.0)  # ... and over this long, at least and at most


def _by_number(rows: np.ndarray, number: int) -> np.ndarray:
    """(n,) an input's value in each message, nan where the message lacks it."""
    counts = rows["count"].astype(int)
    every = np.frombuffer(b"".join(rows["inputs"].tolist()), _GROUP)
    row = np.repeat(np.arange(len(rows)), counts)
    found = np.full(len(rows), np.nan)
    mine = every["input"] == number
    found[row[mine]] = every["value"][mine]
    return found


def from_messages(rows: np.ndarray, car: Car) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """(columns, beyond): name -> one float per row, nan where there is no value; name -> True where one is beyond what the car file allows.

    rows: a table of the message more_inputs in log order (fields, boot, time in s). With a flow meter in the line, or at the engine, also flow_l_h.
    """
    columns: dict[str, np.ndarray] = {}
    beyond: dict[str, np.ndarray] = {}
    flows = {}
    for one in car.inputs:
        raw = _by_number(rows, one.number)
        if one.is_flow:
            values = _flow_l_h(rows["boot"], rows["time"], raw, one)
            outside = one.out_of_range(values)
            values = np.where(outside, np.nan, values)
            flows[str(one.measures)] = values
        else:
            values, outside = one.of_codes(raw)
        columns[one.column], beyond[one.column] = values, outside
    flow = line_flow_l_h(flows, car.engine.return_flow_l_h)
    if flow is not None:
        columns[FLOW] = flow
    return columns, beyond


def names(car: Car | None) -> tuple[str, ...]:
    """The names of the columns made from a car file's inputs."""
    if car is None:
        return ()
    flow = line_flow_l_h({str(one.measures): np.zeros(0) for one in car.inputs if one.is_flow}, 0.0)
    return (*(one.column for one in car.inputs), *(() if flow is None else (FLOW,)))


def _flow_l_h(boot: np.ndarray, time_s: np.ndarray, pulses: np.ndarray, meter: Input) -> np.ndarray:
    """Mean flow over the last pulses of the same boot: over at least _PULSES_LEAST of them, or _WINDOW_S at most; nan until the boot's first pulse,
    because a missing lead is as silent as standing fuel."""
    result = np.full(len(pulses), np.nan)
    for number in np.unique(boot):
        rows = np.flatnonzero((boot == number) & np.isfinite(pulses))
        if len(rows) < 2:
            continue
        at = np.maximum.accumulate(time_s[rows])
        count = pulses[rows].astype(np.int64)
        total = np.concatenate([[0], np.cumsum(np.diff(count) % _COUNT_WRAP)])
        before = np.minimum(
            np.searchsorted(total, total - _PULSES_LEAST, side="right") - 1,
            np.searchsorted(at, at - _WINDOW_S[0] + 1e-6, side="right") - 1,
        )
        before = np.maximum(before, np.searchsorted(at, at - _WINDOW_S[1] - 1e-6))
        elapsed = at - at[before]
        # across a gap in the recording the times of the pulses are unknown
        holes = np.concatenate([[0], np.cumsum(np.diff(at) > _WINDOW_S[1] / 2)])
        usable = (elapsed >= _WINDOW_S[0] - 0.1) & (count > 0) & (holes == holes[before])
        litres = (total - total[before]) / float(meter.pulses_per_litre or np.nan)
        result[rows[usable]] = litres[usable] * 3600 / elapsed[usable]
    return result


def notes(beyond: Mapping[str, np.ndarray], columns: Mapping[str, np.ndarray]) -> list[str]:
    """A sentence for each input that was beyond its calibration or range, and for each without a value."""
    said = []
    for name, outside in beyond.items():
        values = columns[name]
        if outside.any():
            said.append(
                f"{name}: {100 * np.mean(outside):.0f} % of its readings are beyond the calibration or range in the car file; there is no value then."
            )
        elif not np.isfinite(values).any():
            said.append(
                f"{name} is in the car file, but the recording has no value of it: check its lead, and the board's setting more_inputs."
            )
    return said
