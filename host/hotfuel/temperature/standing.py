"""Codes that stand still: an amplifier that repeats one value, or one whose input is shorted and that has no noise.

A tank is steady to less than a code for minutes, and a quiet amplifier then repeats its codes in truth. So a value counts as stopped only where the
channel itself showed noise of more than a code all the time before, and where standing still is impossible besides: the box about the amplifier
moved, or everything else did, for long. Limits: assumptions.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hotfuel.temperature.channel import LEAST_READINGS, Channel, runs

_STILL_S = 30.0
_NO_EMF_DEGC = 0.05
_FOLLOWED_DEGC = 1.0  # of the amplifier's temperature, with the hot code unmoved: nothing outside the box follows it to a code
_BOX_DEGC = 0.5  # of the other amplifiers: eight steps of the coarsest, while the channel's own temperature did not move by one
_LONG_S, _OTHERS_DEGC = 600.0, 5.0
_AT_ONCE_S, _LONGEST_S = 2.0, 1800.0  # all at once, for so long: not even a closed garage holds all temperatures to a code

_ALIVE_READINGS, _ALIVE_SHARE = 100, 0.2  # of its readings change; a slow chip repeats each value some times
_WINDOW_S, _WINDOW_READINGS, _WINDOWS_SHARE = 60.0, 30, 0.95
_TURN_CODES, _TURNS_SHARE = (
    2,
    0.05,
)  # noise of half a code, one standard deviation, turns by two codes or more in one change of ten; of 0.3, in one of forty


@dataclass(frozen=True)
class Still:
    """A stretch of readings (first and last, of the channel) with one hot code. proven: no probe does this in truth. shorted: with no EMF."""

    first: int
    last: int
    proven: bool
    shorted: bool = False


def still(channels: Mapping[int, Channel]) -> dict[int, list[Still]]:
    """The stretches of each channel in which a noisy amplifier fell still."""
    stretches = {number: _stretches(one) for number, one in channels.items() if one.fine}
    noisy = {number: found for number, found in stretches.items() if len(found) and _is_noisy(channels[number], found)}
    return {number: found for number in noisy if (found := _judged(number, channels, noisy))}


def _stretches(one: Channel) -> np.ndarray:
    found = runs(np.diff(one.hot) == 0)
    long = one.seconds[found[:, 1]] - one.seconds[found[:, 0]] >= _STILL_S
    found = found[long & (found[:, 1] - found[:, 0] >= LEAST_READINGS)]
    return found[found[:, 0] >= _ALIVE_READINGS]  # it must have been seen to change before


def _is_noisy(one: Channel, stretches: np.ndarray) -> bool:
    """Whether its codes turn up and down by more than one, in every minute but those in which it stands still: the noise is the amplifier's."""
    change = np.diff(one.hot)
    alive = np.ones(len(change), dtype=bool)
    for first, last in stretches:
        alive[first:last] = False
    changed = np.flatnonzero(alive & (change != 0))
    turned = np.zeros(len(change), dtype=bool)
    turned[changed[1:]] = (np.sign(change[changed[1:]]) != np.sign(change[changed[:-1]])) & (
        np.abs(change[changed[1:]]) >= _TURN_CODES
    )
    window = ((one.seconds[:-1] - one.seconds[0]) / _WINDOW_S).astype(np.int64)
    count, changes, turns = (np.bincount(window, of) for of in (alive, alive & (change != 0), turned))
    full = count >= _WINDOW_READINGS
    lively = (changes >= _ALIVE_SHARE * count) & (turns >= _TURNS_SHARE * changes)
    return bool(full.any() and alive.sum() >= _ALIVE_READINGS and lively[full].mean() >= _WINDOWS_SHARE)


def _judged(number: int, channels: Mapping[int, Channel], noisy: Mapping[int, np.ndarray]) -> list[Still]:
    one = channels[number]
    found = []
    for first, last in noisy[number].tolist():
        part = slice(first, last + 1)
        if np.ptp(one.cold[part]):
            if np.ptp(one.cold_degc[part]) >= _FOLLOWED_DEGC:
                found.append(Still(first, last, proven=True, shorted=abs(one.over_degc[first]) <= _NO_EMF_DEGC))
            continue  # its own temperature is converted with the other: it converts
        since, until = float(one.seconds[first]), float(one.seconds[last])
        found.append(Still(first, last, proven=_is_proven(number, since, until, channels, noisy)))
    return found


def _is_proven(number: int, since: float, until: float, channels: Mapping[int, Channel], noisy: Mapping[int, np.ndarray]) -> bool:
    """Whether the box or the fuel elsewhere moved so far that no channel could stand still; or all stopped at once, though not at one temperature
    or for longer than anything is so steady."""
    others = [one for other, one in channels.items() if other != number]
    parts = [(one, slice(*np.searchsorted(one.seconds, (since, until)).tolist())) for one in others]
    parts = [(one, part) for one, part in parts if part.stop - part.start >= LEAST_READINGS]
    moved = sum(bool(np.ptp(one.cold_degc[part]) >= _BOX_DEGC) for one, part in parts)
    if moved >= min(2, max(len(others), 1)):
        return True
    if until - since < _LONG_S:
        return False
    if any(_moved_by(one.over_degc[part] + one.cold_degc[part]) >= _OTHERS_DEGC for one, part in parts):
        return True
    stopped = [_stopped_with(channels[other], noisy.get(other), since, until) for other in channels]
    away = [abs(float(one.over_degc[part.start])) for one, part in parts]
    own = channels[number]
    away.append(abs(float(own.over_degc[np.searchsorted(own.seconds, since)])))
    return len(stopped) > 1 and all(stopped) and (max(away) >= _OTHERS_DEGC or until - since >= _LONGEST_S)


def _stopped_with(one: Channel, stretches: np.ndarray | None, since: float, until: float) -> bool:
    if stretches is None:
        return False
    return any(
        abs(one.seconds[first] - since) <= _AT_ONCE_S and abs(one.seconds[last] - until) <= _AT_ONCE_S
        for first, last in stretches
    )


def _moved_by(degc: np.ndarray) -> float:
    """How far it moved, but for single readings."""
    low, high = np.percentile(degc, (5, 95))
    return float(high - low)
