"""Readings that look like temperatures and are none: a value that has stopped, a shorted lead, a probe with its two wires exchanged.

An amplifier reports none of these. Each is told by what no probe does in truth, over minutes, and its readings then count as not read.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from hotfuel_wire import amplifiers
from hotfuel_wire.meanings import CHIP_NAMES

from hotfuel.temperature.counts import REVERSED, SHORTED, STUCK, loop_emf_mv, scale

IN_SHORT = {
    STUCK: "its amplifier repeated one value",
    SHORTED: "it read its amplifier's own temperature, as a shorted lead does",
    REVERSED: "it read the wrong way round, as exchanged wires do",
}

# A value that stops. Only where a code is finer than the amplifier's own noise, and where this log shows that noise: a made recording without noise may
# stand still in truth, and so may the code of a coarse chip (hotfuel.temperature.stopped finds that one in the end).
_FINE_UV = 1.0
_STUCK_S, _STUCK_READINGS = 30.0, 60
_ALIVE_READINGS, _ALIVE_SHARE = 100, 0.2  # of its readings change; a slow chip repeats each value some times
_TURNS_SHARE = 0.3  # of the changes are against the one before, by noise alone two in three

# A short: the EMF stays at nothing (with the amplifier's offset) while the amplifier's temperature changes and other places are far from it; or it went
# there in no time. Limits: assumptions.
_BLOCK_S, _LONGEST_S = 10.0, 14 * 86400.0
_NOTHING_DEGC, _NEAR_DEGC = 0.3, 0.6
_NO_EMF_DEGC = 0.05  # of a code that stands still: a short, where nothing adds noise
_SHORT_S, _MOVED_DEGC, _ELSEWHERE_DEGC = 180.0, 1.0, 5.0
_CALM_SHARE = 0.95
_JUMP_DEGC, _JUMP_S, _JUMPED_S = 2.0, 2.0, 60.0

# Exchanged wires: far below its amplifier and every other place, and falling whenever the warmest of those rises. Limits: assumptions.
_BELOW_DEGC, _BELOW_OTHERS_DEGC = 8.0, 5.0
_STEP_BLOCKS, _STEP_DEGC, _AGAINST_DEGC = 12, 1.5, 0.3
_STEPS_LEAST, _STEPS_SHARE = 5, 0.85
_DEGC_PER_MV = 24.4  # type K near room temperature: 41 uV a degC


@dataclass(frozen=True)
class _Channel:
    """Rows (of the log) that were read, their seconds, hot codes, temperature against the amplifier's, and that."""

    rows: np.ndarray
    seconds: np.ndarray
    hot: np.ndarray
    over_degc: np.ndarray
    cold_degc: np.ndarray
    fine: bool


def doubt(
    scans: np.ndarray,
    descriptions: Mapping[int, Mapping[str, Any]],
    seconds: np.ndarray,
    degc: np.ndarray,
    reason: np.ndarray,
    cold_degc: np.ndarray,
    cooled: bool = False,
) -> None:
    """Put nan into degc and the reason into reason, (scans, channels) each as `counts.scans_degc` gives them, where a reading is none of these.

    seconds (scans,): when. cooled: fuel is cooled with ice or the like, so a place may truly be colder than all others.
    """
    for description_id, description in descriptions.items():
        of = np.flatnonzero((scans["description_id"] == description_id) & np.isfinite(seconds))
        if of.size < _STUCK_READINGS:
            continue
        if (np.diff(seconds[of]) < 0).any():
            of = of[np.argsort(seconds[of], kind="stable")]
        known = {}
        for number, settings in enumerate(description["channels"][: degc.shape[1]]):
            if (channel := _channel(scans, of, number, settings, seconds, reason, cold_degc)) is not None:
                known[number] = channel
        noisy = any(one.fine and _is_noisy(one) for one in known.values())
        found = {number: _stuck(one) if one.fine and noisy else np.zeros(len(one.rows), bool) for number, one in known.items()}
        for number, one in known.items():
            at_nothing = found[number] & _at_nothing(one)
            _mark(degc, reason, number, one.rows[at_nothing], SHORTED)
            _mark(degc, reason, number, one.rows[found[number] & ~at_nothing], STUCK)
        alive = {n: one for n, one in known.items() if not found[n].any()}
        if not alive or seconds[of[-1]] - seconds[of[0]] > _LONGEST_S:
            continue
        blocks = _Blocks(alive, float(seconds[of[0]]), float(seconds[of[-1]]))
        turned = [number for number in alive if not cooled and blocks.reversed(number)]
        for number, one in alive.items():
            if number in turned:
                _mark(degc, reason, number, one.rows, REVERSED)
            else:
                _mark(degc, reason, number, one.rows[blocks.shorted(number)], SHORTED)


def _mark(degc: np.ndarray, reason: np.ndarray, number: int, rows: np.ndarray, why: int) -> None:
    degc[rows, number], reason[rows, number] = np.nan, why


def _channel(
    scans: np.ndarray,
    of: np.ndarray,
    number: int,
    settings: Mapping[str, Any],
    seconds: np.ndarray,
    reason: np.ndarray,
    cold: np.ndarray,
) -> _Channel | None:
    name = CHIP_NAMES.get(settings["chip"])
    known = scale(settings["chip"], settings["gain"], settings["resolution_bits"]) if name is not None else None
    rows = of[reason[of, number] == 0]
    if known is None or name is None or rows.size < _STUCK_READINGS:
        return None
    hot = scans["channels"]["hot"][rows, number].astype(np.int64)
    step_uv = amplifiers.uv_per_code(name, settings["gain"], settings["resolution_bits"])
    over = loop_emf_mv(hot, cold[rows, number], known) * _DEGC_PER_MV
    return _Channel(rows, seconds[rows], hot, over, cold[rows, number], step_uv is not None and step_uv <= _FINE_UV)


def _runs(same: np.ndarray) -> np.ndarray:
    """(k, 2): where runs of True begin and the first element behind each; of pairs of neighbours, these are a run's first and last reading."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)


def _still(one: _Channel) -> np.ndarray:
    """The runs of equal codes that last too long to be chance."""
    runs = _runs(np.diff(one.hot) == 0)
    long = one.seconds[runs[:, 1]] - one.seconds[runs[:, 0]] >= _STUCK_S
    return runs[long & (runs[:, 1] - runs[:, 0] >= _STUCK_READINGS)]


def _is_noisy(one: _Channel) -> bool:
    """Whether its codes go up and down by turns, apart from where they stand still: what has no noise turns seldom."""
    change = np.diff(one.hot)
    alive = len(change) - sum(int(last - first) for first, last in _still(one))
    up = change[change != 0] > 0
    turns = (up[1:] != up[:-1]).sum()
    return bool(alive >= _ALIVE_READINGS and len(up) >= _ALIVE_SHARE * alive and turns >= _TURNS_SHARE * len(up))


def _stuck(one: _Channel) -> np.ndarray:
    answer = np.zeros(len(one.rows), dtype=bool)
    for first, last in _still(one):
        answer[first : last + 1] = True
    return answer


def _at_nothing(one: _Channel) -> np.ndarray:
    """Which readings lie in a run of equal codes that is a short's: no EMF, and an amplifier whose own temperature goes on."""
    answer = np.zeros(len(one.rows), dtype=bool)
    for first, last in _still(one):
        run = slice(first, last + 1)
        answer[run] = abs(one.over_degc[first]) <= _NO_EMF_DEGC and np.ptp(one.cold_degc[run]) > 0
    return answer


class _Blocks:
    """Means over ten seconds of every channel on one grid, nan where it was not read."""

    def __init__(self, channels: Mapping[int, _Channel], start_s: float, end_s: float) -> None:
        self._channels, self._start_s = channels, start_s
        count = int((end_s - start_s) / _BLOCK_S) + 1
        self._over, self._cold = {}, {}
        for number, one in channels.items():
            at = self._at(one)
            there = np.bincount(at, minlength=count).astype(float)
            with np.errstate(invalid="ignore"):
                self._over[number] = np.bincount(at, one.over_degc, count) / there
                self._cold[number] = np.bincount(at, one.cold_degc, count) / there

    def _at(self, one: _Channel) -> np.ndarray:
        return ((one.seconds - self._start_s) / _BLOCK_S).astype(np.int64)

    def shorted(self, number: int) -> np.ndarray:
        """Which of the channel's readings are its amplifier's own temperature."""
        one, over, cold = self._channels[number], self._over[number], self._cold[number]
        answer = np.zeros(len(one.rows), dtype=bool)
        near = np.abs(over) <= _NOTHING_DEGC
        far = np.concatenate(([-1], np.flatnonzero(np.abs(one.over_degc) > _NEAR_DEGC), [len(one.rows)]))
        for first, end in _runs(near):
            lasted = (end - first) * _BLOCK_S
            moved = np.ptp(cold[first:end]) >= _MOVED_DEGC and self._elsewhere(number, slice(first, end)) >= _ELSEWHERE_DEGC
            if lasted < _JUMPED_S:
                continue
            begin, last = self._reach(one, far, first, end)
            if np.mean(np.abs(one.over_degc[begin : last + 1]) <= _NEAR_DEGC) < _CALM_SHARE:
                continue
            if (lasted >= _SHORT_S and moved) or _jumped(one, begin):
                answer[begin : last + 1] = True
        return answer

    def _reach(self, one: _Channel, far: np.ndarray, first: int, end: int) -> tuple[int, int]:
        """The first and last reading of a run of blocks, with the neighbours that are as near to nothing. far: the readings that are not."""
        at = np.searchsorted(one.seconds, self._start_s + _BLOCK_S * np.array([first, end]))
        begin, last = int(at[0]), int(at[1]) - 1
        return int(far[np.searchsorted(far, begin) - 1]) + 1, int(far[np.searchsorted(far, last, side="right")]) - 1

    def _elsewhere(self, number: int, part: slice) -> float:
        """How far from its amplifier the farthest other place was for half of the time."""
        others = [np.abs(over[part]) for other, over in self._over.items() if other != number]
        medians = [float(np.nanmedian(values)) for values in others if np.isfinite(values).any()]
        return max(medians, default=0.0)

    def reversed(self, number: int) -> bool:
        """Whether the channel's reading falls when the others' rise, to far below all of them."""
        own = self._over[number]
        degc = {other: over + self._cold[other] for other, over in self._over.items()}
        others = [other for other in self._over if other != number and np.isfinite(self._over[other]).any()]
        if not others or not np.isfinite(own).any():
            return False
        lowest = int(np.nanargmin(own))
        beside = [degc[other][lowest] for other in others if np.isfinite(degc[other][lowest])]
        if own[lowest] > -_BELOW_DEGC or not beside or degc[number][lowest] > min(beside) - _BELOW_OTHERS_DEGC:
            return False
        warmest = max(others, key=lambda other: float(np.nanmax(self._over[other]) - np.nanmin(self._over[other])))
        by_own, by_other = (np.diff(over[::_STEP_BLOCKS]) for over in (own, self._over[warmest]))
        with np.errstate(invalid="ignore"):
            steps = (np.abs(by_other) >= _STEP_DEGC) & np.isfinite(by_own)
            against = steps & (np.sign(by_own) == -np.sign(by_other)) & (np.abs(by_own) >= _AGAINST_DEGC)
        return bool(steps.sum() >= _STEPS_LEAST and against.sum() >= _STEPS_SHARE * steps.sum())


def _jumped(one: _Channel, begin: int) -> bool:
    """Whether the reading before lay elsewhere, a moment ago: no fuel changes so fast to what the amplifier has."""
    if not begin or one.seconds[begin] - one.seconds[begin - 1] > _JUMP_S:
        return False
    return bool(abs(one.over_degc[begin - 1]) >= _JUMP_DEGC)


def told(reasons: np.ndarray) -> list[int]:
    """Which of these doubts are among the reasons of a place."""
    return [why for why in IN_SHORT if (reasons == why).any()]
