"""What `hotfuel check` finds out about each probe: whether it reads, how noisy and how steady it is, and which one was warmed.

Takes live messages (name, values); does no I/O; the command prompts.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from hotfuel_wire import barometer, status
from hotfuel_wire.messages import CHIPS

from hotfuel.temperature import counts

KEPT_S = 40.0
WARMED_DEGC = 3.0  # a hand warms a bare probe by more than this, and its neighbours by less
_NAMES = {number: name for name, number in CHIPS.items()}
# The faults that a chip can report by itself. It cannot detect others.
_ALL_FAULTS = ("open_circuit", "short_to_ground", "short_to_supply", "short_circuit", "input_out_of_range")
_BLIND = {
    "open_circuit": "a broken wire",
    "short_to_ground": "a short to ground",
    "short_to_supply": "a short to the supply",
    "short_circuit": "two wires touching before the probe's tip",
    "input_out_of_range": "an input outside its range",
}


@dataclass(frozen=True)
class ProbeState:
    """One channel over the last seconds. noise_degc: standard deviation between neighbours; drift_degc: mean of the last fifth minus the first."""

    channel: int
    place: str
    chip: str
    readings: int
    mean_degc: float
    noise_degc: float
    drift_degc: float
    cold_degc: float
    faults: tuple[str, ...]
    cannot_see: tuple[str, ...]


class Probes:
    """Collects the latest readings of every channel."""

    def __init__(self) -> None:
        self._description: Mapping[str, Any] | None = None
        self._rows: deque[tuple[float, list[Mapping[str, int]]]] = deque()
        self.latest_s = 0.0  # board time of the last reading

    @property
    def described(self) -> bool:
        """True once the board has described itself."""
        return self._description is not None

    @property
    def board_id(self) -> str:
        """The board's id, 16 hexadecimal digits; only once described."""
        assert self._description is not None
        return bytes(self._description["board_id"]).hex()

    def hear(self, name: str, values: Mapping[str, Any]) -> None:
        """Take one live message."""
        if name == "description":
            if self._description is None or values["channels"] != self._description["channels"]:
                self._rows.clear()
            self._description = values
        elif (
            name == "reading" and self._description is not None and len(values["channels"]) == len(self._description["channels"])
        ):
            time_s = self.latest_s = values["time_ms"] / 1000
            if self._rows and time_s < self._rows[-1][0]:
                self._rows.clear()  # the board has restarted
            self._rows.append((time_s, values["channels"]))
            while self._rows[-1][0] - self._rows[0][0] > KEPT_S:
                self._rows.popleft()

    def forget(self) -> None:
        """Drop all readings, for the next bath."""
        self._rows.clear()

    def seconds(self) -> float:
        """Length of the readings collected, s."""
        return self._rows[-1][0] - self._rows[0][0] if self._rows else 0.0

    def channels(self) -> list[tuple[int, str]]:
        """(channel, place) of every channel."""
        assert self._description is not None
        return [
            (number, row["place"].rstrip(b"\x00").decode("ascii", "replace"))
            for number, row in enumerate(self._description["channels"])
        ]

    def readings(self, channel: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(time s, temperature degC with nan for faults, cold junction degC), each (n,), without any calibration."""
        assert self._description is not None
        row = self._description["channels"][channel]
        time_s = np.array([time for time, _ in self._rows])
        hot, cold, bits = (
            np.array([readings[channel][key] for _, readings in self._rows], dtype=np.int64) for key in ("hot", "cold", "status")
        )
        settings = {"chip": row["chip"], "gain": row["gain"], "resolution_bits": row["resolution_bits"]}
        degc, _ = counts.to_degc(hot, cold, bits, **settings)
        return time_s, np.asarray(degc), np.asarray(counts.cold_degc(cold, **settings))

    def state(self, channel: int) -> ProbeState:
        """The present state of a channel."""
        assert self._description is not None
        row = self._description["channels"][channel]
        _, degc, cold = self.readings(channel)
        good = degc[np.isfinite(degc)]
        seen = {name for _, readings in self._rows for name in status.faults(row["chip"], readings[channel]["status"])}
        fifth = max(1, len(good) // 5)
        can = {name for _, name, _ in status.FAULT_BITS.get(row["chip"], ())}
        return ProbeState(
            channel=channel,
            place=dict(self.channels())[channel],
            chip=_NAMES.get(row["chip"], f"chip {row['chip']}"),
            readings=len(good),
            mean_degc=float(good.mean()) if len(good) else np.nan,
            noise_degc=float(np.std(np.diff(good)) / np.sqrt(2)) if len(good) > 2 else np.nan,
            drift_degc=float(good[-fifth:].mean() - good[:fifth].mean()) if len(good) > 2 else np.nan,
            cold_degc=float(np.nanmean(cold)) if len(cold) else np.nan,
            faults=tuple(sorted(seen)),
            cannot_see=tuple(_BLIND[name] for name in _ALL_FAULTS if name not in can),
        )


def warmed(before: Mapping[int, float], after: Mapping[int, float]) -> int | None:
    """The channel that was warmed by hand: by more than WARMED_DEGC, and at least twice as much as any other; None if no channel was.

    before, after: channel -> mean degC.
    """
    rises = {
        channel: after[channel] - before[channel]
        for channel in before
        if channel in after and np.isfinite(after[channel] - before[channel])
    }
    if not rises:
        return None
    best = max(rises, key=lambda channel: rises[channel])
    others = [abs(rise) for channel, rise in rises.items() if channel != best]
    return best if rises[best] > WARMED_DEGC and rises[best] > 2 * max(others, default=0.0) else None


def boiling_pressure_kpa(messages: Mapping[str, Mapping[str, Any]]) -> float | None:
    """Pressure from the board's barometer, kPa, from its latest barometer and auxiliary messages; None without a barometer."""
    words, auxiliary = messages.get("barometer"), messages.get("auxiliary")
    if not words or not auxiliary or not auxiliary["barometer"]:
        return None
    try:
        return barometer.air_pressure_pa(words["chip"], words["words"], auxiliary["barometer"]) / 1000
    except barometer.BarometerError:
        return None
