"""Readings that look like temperatures and are none: a value that has stopped, a shorted lead, a probe with its two wires exchanged.

An amplifier reports none of these. A reading counts as not read only where nothing innocent explains it: a margin taken from true readings is lost.
What looks so and may be true (a tank beside the box, a place cooled by ice) keeps its numbers and is a `Suspicion`: told, and no cause is sought in it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hotfuel.temperature.channel import LEAST_READINGS, Channel, channel, runs
from hotfuel.temperature.counts import REVERSED, SHORTED, STUCK
from hotfuel.temperature.standing import still

IN_SHORT = {
    STUCK: "its amplifier repeated one value",
    SHORTED: "it read its amplifier's own temperature, as a shorted lead does",
    REVERSED: "it read the wrong way round, as exchanged wires do",
}
PERHAPS = {
    STUCK: "its amplifier repeated one value",
    SHORTED: "it kept to its amplifier's own temperature, as a shorted lead does",
    REVERSED: "it fell while the others rose, as exchanged wires do",
}

# A short: the EMF is nothing (with the amplifier's offset). It is one in truth where it went there faster than a probe can, from a place that had been
# elsewhere; or where it kept to the amplifier's temperature as close as noise lets it while that moved: the amplifier is warmer than the air about it by
# its own heat, so nothing outside keeps so close. Limits: assumptions.
_BLOCK_S, _LONGEST_S = 10.0, 14 * 86400.0
_NOTHING_DEGC, _NEAR_DEGC = 0.3, 0.6
_CALM_SHARE = 0.95
_MOVED_DEGC, _ELSEWHERE_DEGC = 1.0, 5.0
_SUSPECT_S = 180.0
_CLOSE_S, _CLOSE_MOVED_DEGC, _CLOSE_DEGC, _SPREAD_DEGC = 600.0, 2.0, 0.05, 0.02
_BESIDE_DEGC = 1.0  # another place this near to the amplifiers: all are at one temperature
_JUMPED_S, _JUMP_DEGC, _QUICKEST_S = 60.0, 2.0, 0.5  # the time constant of the quickest probe
_BEFORE_S, _BEFORE_LEAST_S, _AGAIN_S = 60.0, 30.0, 10.0

# Exchanged wires: twice the amplifier's temperature less the true one, so far below its amplifier and every other place, and moving against them both
# ways: a place that cools all along while the engine warms up moves against them one way. Limits: assumptions.
_BELOW_DEGC, _BELOW_OTHERS_DEGC, _BELOW_AIR_DEGC = 8.0, 5.0, 3.0
_STEP_BLOCKS, _STEP_DEGC, _AGAINST_DEGC = 12, 0.7, 0.3
_STEPS_LEAST, _STEPS_EACH_WAY, _STEPS_SHARE = 5, 2, 0.75
# Share of its changes that another place and the box explain, and how far it goes against that place.
_EXPLAINED, _SLOPE = 0.8, -0.3
_MIRROR_DEGC = 10.0  # how far outside the others the true temperature may lie


@dataclass(frozen=True)
class Suspicion:
    """Readings of a place that count, and may be none: why (SHORTED, REVERSED or STUCK), from and until when (s, as `doubt` was given them)."""

    place: str
    why: int
    from_s: float
    until_s: float

    @property
    def lasted_s(self) -> float:
        """From the first of these readings to the last."""
        return self.until_s - self.from_s


def doubt(
    scans: np.ndarray,
    descriptions: Mapping[int, Mapping[str, Any]],
    seconds: np.ndarray,
    degc: np.ndarray,
    reason: np.ndarray,
    cold_degc: np.ndarray,
    cooled: bool = False,
    names: Mapping[int, Sequence[str]] | None = None,
    may_be_beside: Callable[[str], bool] = lambda place: False,
    outside_degc: float = np.nan,
) -> list[Suspicion]:
    """Put nan into degc and the reason into reason, (scans, channels) each as `counts.scans_degc` gives them, where a reading is none of these.

    seconds (scans,): when. cooled: fuel is cooled with ice or the like, so a place may truly be colder than all others. names: the places of each
    description's channels. may_be_beside: whether a place may be as warm as the box all along: a tank, the air. outside_degc: the outside
    air, nan where nobody stated it: it may make a place colder than all others too. Returns what is no more than suspected.
    """
    suspected: list[Suspicion] = []
    for description_id, description in descriptions.items():
        of = np.flatnonzero((scans["description_id"] == description_id) & np.isfinite(seconds))
        if of.size < LEAST_READINGS:
            continue
        if (np.diff(seconds[of]) < 0).any():
            of = of[np.argsort(seconds[of], kind="stable")]
        known = {}
        for number, settings in enumerate(description["channels"][: degc.shape[1]]):
            if (one := channel(scans, of, number, settings, seconds, reason, cold_degc)) is not None:
                known[number] = one
        told = dict(enumerate((names or {}).get(description_id, ())))

        def suspect(
            number: int, why: int, first: int, last: int, known: Mapping[int, Channel] = known, told: Mapping[int, str] = told
        ) -> None:
            at = known[number].seconds
            suspected.append(Suspicion(told.get(number, f"channel_{number}"), why, float(at[first]), float(at[last])))

        fallen = still(known)
        for number, stretches in fallen.items():
            for one_still in stretches:
                why = SHORTED if one_still.shorted else STUCK
                if one_still.proven:
                    _mark(degc, reason, number, known[number].rows[one_still.first : one_still.last + 1], why)
                else:
                    suspect(number, why, one_still.first, one_still.last)
        alive = {number: one for number, one in known.items() if not any(found.proven for found in fallen.get(number, ()))}
        if not alive or seconds[of[-1]] - seconds[of[0]] > _LONGEST_S:
            continue
        blocks = _Blocks(alive, float(seconds[of[0]]), float(seconds[of[-1]]))
        for number, one in alive.items():
            turned, sure = (False, False) if cooled else blocks.reversed(number, outside_degc)
            if turned and sure:
                _mark(degc, reason, number, one.rows, REVERSED)
                continue
            if turned:
                suspect(number, REVERSED, 0, len(one.rows) - 1)
            beside = may_be_beside(told.get(number, ""))
            shorted, perhaps = blocks.shorted(number, beside)
            _mark(degc, reason, number, one.rows[shorted], SHORTED)
            for first, last in perhaps:
                suspect(number, SHORTED, first, last)
    return suspected


def _mark(degc: np.ndarray, reason: np.ndarray, number: int, rows: np.ndarray, why: int) -> None:
    degc[rows, number], reason[rows, number] = np.nan, why


class _Blocks:
    """Means over ten seconds of every channel on one grid, nan where it was not read."""

    def __init__(self, channels: Mapping[int, Channel], start_s: float, end_s: float) -> None:
        self._channels, self._start_s = channels, start_s
        count = int((end_s - start_s) / _BLOCK_S) + 1
        self._over, self._cold = {}, {}
        for number, one in channels.items():
            at = ((one.seconds - start_s) / _BLOCK_S).astype(np.int64)
            there = np.bincount(at, minlength=count).astype(float)
            with np.errstate(invalid="ignore"):
                self._over[number] = np.bincount(at, one.over_degc, count) / there
                self._cold[number] = np.bincount(at, one.cold_degc, count) / there

    def shorted(self, number: int, beside: bool) -> tuple[np.ndarray, list[tuple[int, int]]]:
        """(which of the channel's readings are its amplifier's own temperature, first and last readings of stretches that may be).

        beside: the place may be as warm as the box all along.
        """
        one, over, cold = self._channels[number], self._over[number], self._cold[number]
        answer = np.zeros(len(one.rows), dtype=bool)
        perhaps = []
        far = np.concatenate(([-1], np.flatnonzero(np.abs(one.over_degc) > _NEAR_DEGC), [len(one.rows)]))
        for first, end in runs(np.abs(over) <= _NOTHING_DEGC):
            lasted, part = (end - first) * _BLOCK_S, slice(first, end)
            if lasted < _JUMPED_S:
                continue
            begin, last = self._reach(one, far, first, end)
            if np.mean(np.abs(one.over_degc[begin : last + 1]) <= _NEAR_DEGC) < _CALM_SHARE:
                continue
            away = self._away(number, part)
            alone = not beside and max(away, default=0.0) >= _ELSEWHERE_DEGC and min(away, default=0.0) >= _BESIDE_DEGC
            moved = float(np.ptp(cold[part]))
            if _jumped(one, begin, answer) or (
                alone and lasted >= _CLOSE_S and moved >= _CLOSE_MOVED_DEGC and _keeps_close(one, over[part], begin, last)
            ):
                answer[begin : last + 1] = True
            elif alone and lasted >= _SUSPECT_S and moved >= _MOVED_DEGC:
                perhaps.append((begin, last))
        return answer, perhaps

    def _reach(self, one: Channel, far: np.ndarray, first: int, end: int) -> tuple[int, int]:
        """The first and last reading of a run of blocks, with the neighbours that are as near to nothing. far: the readings that are not."""
        at = np.searchsorted(one.seconds, self._start_s + _BLOCK_S * np.array([first, end]))
        begin, last = int(at[0]), int(at[1]) - 1
        return int(far[np.searchsorted(far, begin) - 1]) + 1, int(far[np.searchsorted(far, last, side="right")]) - 1

    def _away(self, number: int, part: slice) -> list[float]:
        """How far from its amplifier each other place was for half of the time."""
        others = [np.abs(over[part]) for other, over in self._over.items() if other != number]
        return [float(np.nanmedian(values)) for values in others if np.isfinite(values).any()]

    def reversed(self, number: int, outside_degc: float) -> tuple[bool, bool]:
        """(whether the channel's reading falls when the others' rise, to far below all of them; whether nothing else does so)."""
        degc = {other: over + self._cold[other] for other, over in self._over.items()}
        own, over = degc[number], self._over[number]
        others = [other for other in degc if other != number and np.isfinite(degc[other]).any()]
        if not others or not np.isfinite(over).any():
            return False, False
        lowest = int(np.nanargmin(over))
        beside = [degc[other][lowest] for other in others if np.isfinite(degc[other][lowest])]
        if over[lowest] > -_BELOW_DEGC or not beside or own[lowest] > min(beside) - _BELOW_OTHERS_DEGC:
            return False, False
        # in true degrees: against a box that warms up, everything steady falls
        warmest = max(others, key=lambda other: float(np.nanmax(degc[other]) - np.nanmin(degc[other])))
        by_own, by_other = (np.diff(values[::_STEP_BLOCKS]) for values in (own, degc[warmest]))
        with np.errstate(invalid="ignore"):
            steps = (np.abs(by_other) >= _STEP_DEGC) & np.isfinite(by_own)
            against = steps & (np.sign(by_own) == -np.sign(by_other)) & (np.abs(by_own) >= _AGAINST_DEGC)
        if steps.sum() < _STEPS_LEAST or against.sum() < _STEPS_SHARE * steps.sum():
            return False, False
        if min((against & (by_other > 0)).sum(), (against & (by_other < 0)).sum()) < _STEPS_EACH_WAY:
            return False, False
        return True, not own[lowest] > outside_degc - _BELOW_AIR_DEGC and self._is_mirrored(number, degc, others)

    def _is_mirrored(self, number: int, degc: Mapping[int, np.ndarray], others: Sequence[int]) -> bool:
        """Whether exchanging the wires would make it a place like the others."""
        true = 2 * self._cold[number] - degc[number]
        rest = np.stack([degc[other] for other in others])
        there = np.isfinite(true) & np.isfinite(rest).all(axis=0)
        if there.sum() < 2 * _STEP_BLOCKS:
            return False
        true, rest, own, cold = true[there], rest[:, there], degc[number][there], self._cold[number][there]
        inside = (true >= rest.min(axis=0) - _MIRROR_DEGC) & (true <= rest.max(axis=0) + _MIRROR_DEGC)
        return bool(inside.mean() >= _CALM_SHARE and any(_goes_against(own, one, rest, cold) for one in rest))


def _goes_against(own: np.ndarray, other: np.ndarray, rest: np.ndarray, cold: np.ndarray) -> bool:
    """Whether own falls as other rises, apart from what both do with the box, and the other places explain nearly all that it does."""
    columns = np.stack([np.ones(len(own)), cold, other], axis=1)
    slope = np.linalg.lstsq(columns, own, rcond=None)[0][2]
    columns = np.concatenate([columns[:, :2], rest.T], axis=1)
    left = own - columns @ np.linalg.lstsq(columns, own, rcond=None)[0]
    return bool(slope <= _SLOPE and np.var(left) <= (1 - _EXPLAINED) * np.var(own))


def _keeps_close(one: Channel, blocks: np.ndarray, begin: int, last: int) -> bool:
    """Whether the means of ten seconds lie at nothing, as close as the noise of single readings lets them; not to be told with coarse codes."""
    if not one.fine:
        return False
    noise = (
        float(np.median(np.abs(np.diff(one.over_degc[begin : last + 1])))) / 0.954
    )  # of two readings' difference to one standard deviation of one
    count = (last + 1 - begin) / len(blocks)
    return bool(abs(np.median(blocks)) <= _CLOSE_DEGC and np.std(blocks) <= max(_SPREAD_DEGC, 2 * noise / np.sqrt(count)))


def _jumped(one: Channel, begin: int, shorted: np.ndarray) -> bool:
    """Whether the reading went to nothing faster than any probe can, from a place that had been elsewhere for a while: one spike had not. Or whether it
    came back within seconds to what is a short (shorted: what is known of it)."""
    if not begin:
        return False
    at = one.seconds
    if shorted[np.searchsorted(at, at[begin] - _AGAIN_S) : begin].any():
        return True
    before = slice(int(np.searchsorted(at, at[begin] - _BEFORE_S)), begin)
    if at[begin] - at[before.start] < _BEFORE_LEAST_S or abs(np.median(one.over_degc[before])) < _ELSEWHERE_DEGC:
        return False
    quickest = _NEAR_DEGC * np.exp(min((at[begin] - at[begin - 1]) / _QUICKEST_S, 10.0))
    return bool(abs(one.over_degc[begin - 1]) >= max(_JUMP_DEGC, quickest))


def told(reasons: np.ndarray) -> list[int]:
    """Which of these doubts are among the reasons of a place."""
    return [why for why in IN_SHORT if (reasons == why).any()]
