"""The announcement ahead of the limit on drives that it was not tuned on: how many crossings it announces a minute ahead, and how
many announcements are false.

python tests/bench/bench_approach.py [drives [FILE]]      200 take about 10 minutes of a core; with a FILE what was cut off goes on where it was

A crossing is a margin that falls to zero after it was above 2 degC. It counts as announced if the limit was shown as ahead, or
warned of, 60 s before. Slow: the margin fell by at most 5 degC in the minute before, and the limit itself did not jump; abrupt
ones and jumps (engine off) are counted separately. False: withdrawn without a warning. Boiling over behind the needle after a
stop is a note, not a warning, and is left out.
"""

import math
import pickle
import sys
from pathlib import Path

import numpy as np
from hotfuel.live.alarms import HostAlarms
from hotfuel.live.approach import JUMP_DEGC, STEP_S, Approaches
from hotfuel.risk.level import BEYOND, Level
from hotfuel.risk.margin import PlaceMargin

sys.path.insert(0, str(Path(__file__).parent))
import approach_drives

AHEAD_S, SLOW_DEGC, ARMED_DEGC, WARNED_AFTER_S = 60, 5.0, 2.0, 30


class Count:
    """crossings: kind -> [all, announced, warned of]; vain: announcements withdrawn; leads_s: from announcement to warning."""

    def __init__(self) -> None:
        self.crossings = {kind: [0, 0, 0] for kind in ("slow", "abrupt", "jump")}
        self.vain, self.hours, self.leads_s, self.vain_of_drive = 0, 0.0, [], []

    def add(self, drive: approach_drives.Drive) -> None:
        """One more drive."""
        ahead, warned = watched(drive)
        before = self.vain
        for place, on in ahead.items():
            margin = drive.margins[place]
            note = drive.running == 0 if place.endswith("_needle") else np.zeros(len(on), dtype=bool)
            self._crossings(margin, on, warned[place], note)
            self._episodes(on & ~warned[place] & ~note, warned[place] | note)
        self.vain_of_drive.append(self.vain - before)
        self.hours += drive.seconds[-1] / 3600

    def _crossings(self, place: PlaceMargin, on: np.ndarray, warned: np.ndarray, note: np.ndarray) -> None:
        armed = False
        for second, margin in enumerate(place.margin_degc.tolist()):
            if armed and margin < 0:
                armed = False
                if second >= 2 * AHEAD_S and not note[second]:
                    kind = self.crossings[_kind(place, second)]
                    kind[0] += 1
                    kind[1] += bool(on[second - AHEAD_S] or warned[second - AHEAD_S])
                    kind[2] += bool(warned[second - AHEAD_S])
            armed = armed or margin > ARMED_DEGC

    def _episodes(self, shown: np.ndarray, warned: np.ndarray) -> None:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], shown.astype(int), [0]])))
        for begin, end in edges.reshape(-1, 2).tolist():
            if end == len(shown):
                continue  # the drive ended first
            if warned[begin : end + WARNED_AFTER_S].any():
                self.leads_s.append(end - begin)
            else:
                self.vain += 1

    def said(self) -> list[str]:
        """The results as lines."""
        lines = [
            f"{kind}: {all_} crossings, {announced} announced {AHEAD_S} s ahead ({100 * announced / max(all_, 1):.0f} %), {warned} of them warned of by then"
            for kind, (all_, announced, warned) in self.crossings.items()
        ]
        lines.append(
            f"{self.vain} false announcements in {self.hours:.1f} h ({self.vain / self.hours:.2f} an hour), in {sum(map(bool, self.vain_of_drive))} of "
            f"{len(self.vain_of_drive)} drives, most in one {max(self.vain_of_drive)}"
        )
        if self.leads_s:
            tenth, middle, most = np.percentile(self.leads_s, [10, 50, 90])
            lines.append(
                f"announced ahead of a warning {len(self.leads_s)} times, by {middle:.0f} s ({tenth:.0f} to {most:.0f} in four of five)"
            )
        return lines


def watched(drive: approach_drives.Drive) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """(place -> announced, place -> warned of), each (n,), as page and alarm machine would show them second by second."""
    names = [name for name in drive.margins if not name.startswith("tank")]
    ahead = {name: np.zeros(len(drive.seconds), dtype=bool) for name in names}
    approaches, step = Approaches(drive.fuel), round(STEP_S)  # it decides once per step: nothing changes in between
    arrays = {name: _arrays(place) for name, place in drive.margins.items()}
    for second in range(0, len(drive.seconds), step):
        part = slice(second, second + step)
        approaches.update(drive.seconds[part], {name: _row(place, part, arrays[name]) for name, place in drive.margins.items()})
        for name in names:
            ahead[name][part] = approaches.ahead(name)
    return ahead, {name: state for name, state in _warned(drive).items() if name in names}


def _warned(drive: approach_drives.Drive) -> dict[str, np.ndarray]:
    """Place -> (n,), warned of: the alarm machine is given the drive in one batch, and each of its transitions holds until the next."""
    alarms = HostAlarms(drive.car)
    warned = {name: np.zeros(len(drive.seconds), dtype=bool) for name in drive.margins}

    def turned(place: str, _level: int, _new: int) -> None:
        warned[place][int(alarms.at) :] = alarms.state(place) in (Level.WARN, *BEYOND)

    alarms.turned = turned
    alarms.update(drive.seconds, drive.margins, drive.running, drive.rpm)
    return warned


def _arrays(place: PlaceMargin) -> dict[str, np.ndarray]:
    return {name: value for name, value in vars(place).items() if isinstance(value, np.ndarray)}


def _row(place: PlaceMargin, part: slice, arrays: dict[str, np.ndarray]) -> PlaceMargin:
    return PlaceMargin(**{**vars(place), **{name: value[part] for name, value in arrays.items()}})


def _kind(place: PlaceMargin, second: int) -> str:
    limits = place.limit_degc[second - AHEAD_S : second + 1]
    if np.nanmax(np.abs(np.diff(limits)), initial=0.0) > JUMP_DEGC:
        return "jump"
    fell = place.margin_degc[second - AHEAD_S] - place.margin_degc[second]
    return "slow" if math.isfinite(fell) and fell <= SLOW_DEGC else "abrupt"


def main() -> None:
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    kept = Path(sys.argv[2]) if len(sys.argv) > 2 else None
    done, count = pickle.loads(kept.read_bytes()) if kept is not None and kept.exists() else (0, Count())
    for number, drive in enumerate(approach_drives.drives(total, seed=2027, first=done), done + 1):
        count.add(drive)
        if kept is not None:
            kept.write_bytes(pickle.dumps((number, count)))
        if number % 20 == 0:  # so that an interrupted run has printed something
            slow = count.crossings["slow"]
            print(
                f"{number} drives: slow {slow[1]} of {slow[0]}, false {count.vain} in {count.hours:.1f} h",
                file=sys.stderr,
                flush=True,
            )
    print(*count.said(), sep="\n")


if __name__ == "__main__":
    main()
