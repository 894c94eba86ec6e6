"""One channel of a recording as its amplifier sent it: codes, how far the probe was from the amplifier, and the amplifier's own temperature."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from hotfuel_wire import amplifiers
from hotfuel_wire.meanings import CHIP_NAMES

from hotfuel.temperature.counts import loop_emf_mv, scale

LEAST_READINGS = 60
_FINE_UV = 1.0
_DEGC_PER_MV = 24.4  # type K near room temperature: 41 uV a degC


@dataclass(frozen=True)
class Channel:
    """Rows (of the log) that were read, their seconds, hot and cold codes, temperature against the amplifier's, and that.

    fine: a code is finer than the amplifier's own noise usually is.
    """

    rows: np.ndarray
    seconds: np.ndarray
    hot: np.ndarray
    cold: np.ndarray
    over_degc: np.ndarray
    cold_degc: np.ndarray
    fine: bool


def channel(
    scans: np.ndarray,
    of: np.ndarray,
    number: int,
    settings: Mapping[str, Any],
    seconds: np.ndarray,
    reason: np.ndarray,
    cold: np.ndarray,
) -> Channel | None:
    """The readings of one channel among the rows `of` of a description; None for too few, or a chip that is not known."""
    name = CHIP_NAMES.get(settings["chip"])
    known = scale(settings["chip"], settings["gain"], settings["resolution_bits"]) if name is not None else None
    rows = of[reason[of, number] == 0]
    if known is None or name is None or rows.size < LEAST_READINGS:
        return None
    hot, cold_codes = (scans["channels"][which][rows, number].astype(np.int64) for which in ("hot", "cold"))
    step_uv = amplifiers.uv_per_code(name, settings["gain"], settings["resolution_bits"])
    over = loop_emf_mv(hot, cold[rows, number], known) * _DEGC_PER_MV
    fine = step_uv is not None and step_uv <= _FINE_UV
    return Channel(rows, seconds[rows], hot, cold_codes, over, cold[rows, number], fine)


def runs(same: np.ndarray) -> np.ndarray:
    """(k, 2): where runs of True begin and the first element behind each; of pairs of neighbours, these are a run's first and last reading."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)
