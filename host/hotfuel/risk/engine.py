"""Whether the engine runs, second by second, from inputs with lost pulses and noise: the same result for review, restarts, forecasts and coolers.

Finds the likeliest course of two states, running and standing: a second with pulses above starting speed is evidence for running, one without for
standing; the cost of a change is set so that seven silent seconds are bridged and eight are a stop. So one lost pulse changes nothing, and a burst of
noise with the ignition off does not count as running.
"""

from dataclasses import dataclass
from functools import reduce
from statistics import median

import numpy as np
import numpy.typing as npt

from hotfuel.stretches import stretches

FIRED_SHARE = 0.6  # of idle speed: below it the starter turns the engine
IDLE_SHARE = 1.5  # of idle speed: up to it the live page takes the engine to idle, a raised idle too
STOP_S = 8.0
# shares of running seconds without pulses, and of standing seconds with some, caused by a bad wire; chosen
LOST, STRAY = 0.2, 0.1
TURNING_RPM = 30.0  # below it nothing turns
_ABSURD_RPM = 15_000.0  # no engine with a carburettor turns this fast: noise
_PULSES, _SILENCE = float(np.log((1 - LOST) / STRAY)), float(np.log(LOST / (1 - STRAY)))
_CHANGE = (STOP_S - 0.5) * -_SILENCE / 2  # a bridge needs two changes
_RUNNING_AT_ONCE = -3.0  # a recording whose first two seconds are silent begins before the engine starts
_KEY_OFF = -4.0  # a second with the ignition off outweighs pulses
_STEADY_S, _STEADY_SHARE, _STEADY_SPREAD = 10, 0.7, 0.15
_IDLE_LEVEL_S = 60  # longer than a starter turns in a day
_EDGE_S = 6
_STALL_LEAST_S, _STALL_CRANKED_S = 3, 2


@dataclass(frozen=True)
class EngineCourse:
    """Arrays (n,), one a second. running: bool. turning: bool, the starter turns it. rpm: lost seconds bridged, 0 standing. idle_rpm: according to
    these pulses. doubts: sentences about what is wrong with the inputs."""

    running: np.ndarray
    turning: np.ndarray
    rpm: np.ndarray
    idle_rpm: float
    doubts: tuple[str, ...]


def engine_course(
    rpm: npt.ArrayLike,
    ignition: npt.ArrayLike,
    idle_rpm: float,
    pulses_per_revolution: float | None = None,
    otherwise: npt.ArrayLike | None = None,
) -> EngineCourse:
    """The engine's course from one value a second: rpm and ignition (1, 0), nan where not known; ignition all nan where it is not wired.

    otherwise: 1 running, 0 standing, nan, from other evidence (fuel pressure, marks); used where rpm is nan. All arrays (n,), n may be 0.
    A stop with the ignition on takes STOP_S without pulses, or a fall of speed before and cranking after (a stall). Ignition off means standing,
    unless pulses continue steadily: then its wire is in doubt. Example: engine_course([800] * 60 + [0] + [800] * 60, nan...) -> running throughout.
    """
    speed, key = np.array(rpm, dtype=float), _held(np.asarray(ignition, dtype=float))
    doubts = []
    absurd = speed > _ABSURD_RPM
    speed[absurd] = np.nan
    if absurd.any():
        doubts.append(f"{_seconds(absurd)} had more than {_ABSURD_RPM:,.0f} rpm, which is noise: they are left out.")
    idle, sentence = _idle(speed, idle_rpm, pulses_per_revolution)
    doubts += sentence
    with np.errstate(invalid="ignore"):
        fired = speed >= FIRED_SHARE * idle
        low = (speed > TURNING_RPM) & ~fired
    against = _running_on_with_key_off(speed, fired, key, idle)
    if against.any():
        level = float(np.median(speed[against & fired]))
        doubts.append(
            f"The ignition reads off for {np.count_nonzero(against) / 60:.0f} min while the engine turns steadily at about {level:.0f} rpm: "
            "check its wire; it is not used there."
        )
    off = (key == 0) & ~against
    odds = np.where(np.isnan(speed), 0.0, np.where(fired, _PULSES, _SILENCE)) + np.where(off, _KEY_OFF, 0.0)
    if otherwise is not None:
        other = np.asarray(otherwise, dtype=float)
        odds += np.where(np.isnan(speed) & ~off, np.where(other == 1, -_SILENCE, np.where(other == 0, _SILENCE, 0.0)), 0.0)
    running = _likeliest(odds)
    _to_the_last_pulse(running, speed, fired & ~off)
    _to_the_key(running, off)
    _cut_stalls(running, speed, fired, low)
    silent = running & ~fired & ~np.isnan(speed)
    if np.count_nonzero(silent) > max(5, 0.03 * np.count_nonzero(running)):
        doubts.append(
            f"{_seconds(silent, running)} of running had no pulses, or too few: they are bridged. Check the pulse wire."
        )
    stray = ~running & off & (fired | low)
    if np.count_nonzero(stray) > max(5, 0.03 * np.count_nonzero(off)):
        doubts.append(
            f"{_seconds(stray, off)} with the ignition off had pulses, which is noise: they are left out. Check the pulse wire and its screen."
        )
    filled = np.where(running & fired, speed, np.nan)
    good = np.flatnonzero(~np.isnan(filled))
    filled = np.interp(np.arange(len(speed)), good, filled[good]) if good.size else np.zeros(len(speed))
    turning = low & ~running & ~off
    turning &= _neighboured(turning | running)
    return EngineCourse(running, turning, np.where(running, filled, np.where(turning, speed, 0.0)), idle, tuple(doubts))


def _held(values: np.ndarray) -> np.ndarray:
    """Unknown seconds take the last known value; those before the first stay nan."""
    known = np.flatnonzero(~np.isnan(values))
    which = np.searchsorted(known, np.arange(len(values)), side="right") - 1
    return np.where(which >= 0, values[known[np.maximum(which, 0)]], np.nan) if known.size else values


def _idle(speed: np.ndarray, idle_rpm: float, pulses_per_revolution: float | None) -> tuple[float, list[str]]:
    """(idle speed according to these pulses, a sentence if it is odd): the slowest speed held steadily, if too far from the car file's to be its idle."""
    levels = np.sort(speed[_steady(speed, speed > 2 * TURNING_RPM)])
    if len(levels) < 2 * _IDLE_LEVEL_S:
        return idle_rpm, []
    lowest = float(levels[_IDLE_LEVEL_S])
    ratio = lowest / idle_rpm
    if 0.75 <= ratio < 1.7 or (ratio >= 1.7 and float(levels[-1]) < 9000.0):
        return idle_rpm, []  # an engine driven fast all day never idles
    likely = (
        ""
        if pulses_per_revolution is None
        else f"pulses per revolution looks like {_whole(pulses_per_revolution * ratio)}, not {pulses_per_revolution:g}"
    )
    said = f"The slowest steady speed is {lowest:.0f} rpm where the car file has an idle of {idle_rpm:.0f}: {likely or 'check both'}."
    return (lowest if ratio < 1 else idle_rpm), [said]


def _whole(pulses: float) -> str:
    """Pulses come in halves: a spark every other turn."""
    return f"{max(0.5, round(2 * pulses) / 2):g}"


def _steady(speed: np.ndarray, usable: np.ndarray) -> np.ndarray:
    """Seconds in the middle of five whose speeds agree within an eighth."""
    if len(speed) < 5:
        return np.zeros(len(speed), bool)
    known = np.where(usable, speed, np.nan)
    near = [known[first : len(known) - 4 + first] for first in range(5)]
    with np.errstate(invalid="ignore"):
        flat = reduce(np.maximum, near) <= 1.125 * reduce(np.minimum, near)
    return np.concatenate([[False] * 2, flat, [False] * 2])


def _running_on_with_key_off(speed: np.ndarray, fired: np.ndarray, key: np.ndarray, idle: float) -> np.ndarray:
    """Stretches of ignition off in which pulses above idle continue steadily, (n,) of bool: whole stretches, since a wire
    that reads wrong once does so for all of it."""
    against = np.zeros(len(speed), bool)
    off = key == 0
    if not (off & fired).any() or len(speed) < _STEADY_S:
        return against
    windows = np.lib.stride_tricks.sliding_window_view(np.where(fired & off, speed, np.nan), _STEADY_S)
    enough = np.flatnonzero((~np.isnan(windows)).mean(axis=1) >= _STEADY_SHARE)
    if not enough.size:
        return against
    middle = np.nanmedian(windows[enough], axis=1)
    spread = np.nanmedian(np.abs(windows[enough] - middle[:, None]), axis=1)
    steady = enough[(middle >= 0.8 * idle) & (spread <= _STEADY_SPREAD * middle)]
    for first, past in stretches(off):
        last = past - 1
        mine = steady[(steady >= first) & (steady + _STEADY_S - 1 <= last)]
        if len(mine) > _STEADY_S:
            against[first : last + 1] = True
    return against


def _likeliest(odds: np.ndarray) -> np.ndarray:
    """The course of two states that is likeliest for these log odds (n,), in favour of running; changes cost _CHANGE. Runs of equal odds are one step."""
    if not len(odds):
        return np.zeros(0, bool)
    edges = np.flatnonzero(np.diff(odds)) + 1
    starts = np.concatenate([[0], edges])
    lengths = np.diff(np.concatenate([starts, [len(odds)]]))
    on, off, back = _RUNNING_AT_ONCE, 0.0, []
    for gain in (odds[starts] * lengths).tolist():
        from_off, from_on = off - _CHANGE > on, on - _CHANGE > off
        back.append((from_off, from_on))
        on, off = max(on, off - _CHANGE) + gain, max(off, on - _CHANGE)
    state = on > off
    states = []
    for from_off, from_on in reversed(back):
        states.append(state)
        state = not from_off if state else from_on
    return np.repeat(np.array(states[::-1]), lengths)


def _to_the_last_pulse(running: np.ndarray, speed: np.ndarray, usable: np.ndarray) -> None:
    """Silent seconds near an end of running do not shorten it: seconds with pulses at about the same speed belong to it."""
    for first, past in stretches(running):
        last = past - 1
        for end, step in ((last, 1), (first, -1)):
            beyond = np.arange(end + step, end + step * (_EDGE_S + 1), step)
            beyond = beyond[(beyond >= 0) & (beyond < len(running))]
            beyond = beyond[usable[beyond]]
            if not beyond.size:
                continue
            inside = np.arange(end, (first if step > 0 else last) - step, -step)[:_EDGE_S]
            level = median(speed[inside[usable[inside]]].tolist() or [np.nan])  # of a few, sooner than numpy's
            like = beyond[(speed[beyond] > 0.4 * level) & (speed[beyond] < 1.6 * level)]
            if like.size:
                running[min(end, int(like[-1])) : max(end, int(like[-1])) + 1] = True


def _to_the_key(running: np.ndarray, off: np.ndarray) -> None:
    """Where the last pulses come less than STOP_S before the key is turned off, the key stopped the engine."""
    turned = np.flatnonzero(off[1:] & ~off[:-1]) + 1
    for _, past in stretches(running):
        last = past - 1
        after = turned[(turned > last + 1) & (turned < last + 1 + STOP_S)]
        if after.size:
            running[last + 1 : after[0]] = True


def _cut_stalls(running: np.ndarray, speed: np.ndarray, fired: np.ndarray, low: np.ndarray) -> None:
    """Turns silences too short for a stop into stalls if the speed fell before them and the starter turned at their end."""
    for first, past in stretches(running & ~fired):
        last = past - 1
        cranked = bool(low[last + 1 - _STALL_CRANKED_S : last + 1].all()) and last + 1 < len(running)
        if not _STALL_LEAST_S <= last - first + 1 < 2 * STOP_S or not cranked or first < 3:
            continue
        before = speed[max(0, first - 12) : first]
        known = before[~np.isnan(before)]
        fell = bool(low[first]) or (known.size > 2 and known[-1] <= 0.85 * np.median(known))
        if fell and last - first + 1 > _STALL_CRANKED_S:
            running[first : last + 1] = False


def _neighboured(flags: np.ndarray) -> np.ndarray:
    """True beside another True: a single second with few pulses is not the starter."""
    answer: np.ndarray = np.concatenate([flags[1:], [False]]) | np.concatenate([[False], flags[:-1]])
    return answer


def _seconds(which: np.ndarray, of: np.ndarray | None = None) -> str:
    count = int(np.count_nonzero(which))
    return f"{count} seconds" if of is None else f"{count} of {np.count_nonzero(of)} seconds"
