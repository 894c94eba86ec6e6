"""The last minutes, one point a second, and what came since the engine stopped or fell to idle, one point every ten seconds. Bounded."""

import collections
import math

import numpy as np

MINUTES = 10
POINTS = MINUTES * 60
_STEP_S, _STEPS = 10.0, 360
_HOLE_S = 2.5


class History:
    """Points are tuples (axis second, {name: value}). `added` counts points ever added, so that a reader knows what it has not seen."""

    def __init__(self) -> None:
        self.points: collections.deque[tuple[float, dict[str, float]]] = collections.deque(maxlen=POINTS)
        self.added = 0

    def add(self, seconds: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        """Rising seconds (n,) and values (n,) of each name: the last sample of every whole second is kept."""
        whole = np.floor(seconds)
        last = np.flatnonzero(np.append(whole[1:] != whole[:-1], True))
        for at in last.tolist():
            point = (float(seconds[at]), {name: float(values[at]) for name, values in columns.items()})
            if self.points and math.floor(self.points[-1][0]) == whole[at]:
                continue
            if self.points and seconds[at] - self.points[-1][0] > _HOLE_S:
                self._append((float(seconds[at]) - 0.5, {}))  # a hole breaks the line
            self._append(point)

    def _append(self, point: tuple[float, dict[str, float]]) -> None:
        self.points.append(point)
        self.added += 1

    def since(self, seen: int) -> list[tuple[float, dict[str, float]]]:
        """The points added after the first `seen` ones, as far as they are kept."""
        missing = min(self.added - seen, len(self.points))
        return list(self.points)[len(self.points) - missing :] if missing > 0 else []

    def column(self, name: str, last_s: float = math.inf) -> tuple[np.ndarray, np.ndarray]:
        """(seconds, values) of one name over the last `last_s` seconds; nan where it has none."""
        if not self.points:
            return np.zeros(0), np.zeros(0)
        first = self.points[-1][0] - last_s
        rows = [(at, values.get(name, math.nan)) for at, values in self.points if at >= first]
        return np.array([at for at, _ in rows]), np.array([value for _, value in rows])


class MeansSince:
    """Readings of every place since something began (a stop, an idle), as means over ten seconds."""

    def __init__(self) -> None:
        self.began = math.nan
        self._steps: dict[int, dict[str, list[float]]] = {}

    @property
    def on(self) -> bool:
        """True from begin() to end()."""
        return not math.isnan(self.began)

    def begin(self, at: float) -> None:
        """Begin at `at` seconds; discards what was collected before."""
        self.began = at
        self._steps = {}

    def end(self) -> None:
        """End it; discards what was collected."""
        self.began = math.nan
        self._steps = {}

    def add(self, at: float, values: dict[str, float]) -> None:
        """Readings (degC by place, nan where unknown) at `at` seconds."""
        step = int((at - self.began) // _STEP_S)
        if not 0 <= step < _STEPS:
            return
        sums = self._steps.setdefault(step, {})
        for name, value in values.items():
            if value == value:
                total = sums.setdefault(name, [0.0, 0.0])
                total[0] += value
                total[1] += 1

    def column(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """(seconds since it began, values): the middle of each step and its mean."""
        rows = [(step, sums[name]) for step, sums in sorted(self._steps.items()) if name in sums]
        return np.array([(step + 0.5) * _STEP_S for step, _ in rows]), np.array([total / count for _, (total, count) in rows])
