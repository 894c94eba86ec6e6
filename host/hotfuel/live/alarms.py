"""Which warnings are on: the board's own, as its events tell them, and the same state machine run here where the board has no limits."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from hotfuel_wire import alarm
from hotfuel_wire.meanings import from_event_value

from hotfuel.car import Car
from hotfuel.places import behind_needle
from hotfuel.risk.engine import TURNING_RPM
from hotfuel.risk.level import Level
from hotfuel.risk.margin import PlaceMargin, alarm_inputs

LAMP_NO_LIMITS, LAMP_WINK, LAMP_TEST = 3, 1, 7  # health.lamp, see hotfuel_wire.meanings
_NEED_LIMITS = (0, LAMP_WINK, 2, 5, 6)  # shown only by a board with limits; a lost sensor and a failed part outrank their absence
_LAMP_LEVELS = {5: Level.WARN, 6: Level.ACT}
_LIVE = (alarm.UNACKNOWLEDGED, alarm.ACKNOWLEDGED)


@dataclass
class Spell:
    """The last time a place was warned of: axis seconds; `end` is nan while it lasts."""

    begin: float = math.nan
    end: float = math.nan


def margin_places(car: Car) -> list[str]:
    """Every place of the car with a limit, "<name>_needle" behind a carburettor inlet, in the car file's order."""
    return list(car.limit_places)


class _Book:
    """Which alarms are on, since when, and which place was first."""

    def __init__(self) -> None:
        self.live: dict[str, set[int]] = {}  # place -> levels
        self.unacknowledged: set[tuple[str, int]] = set()
        self.spells: dict[str, Spell] = {}
        self.first = ""

    def turn(self, place: str, level: int, new: int, at: float) -> None:
        """An alarm of `place` went to state `new` at axis second `at`."""
        levels = self.live.setdefault(place, set())
        if new == alarm.UNACKNOWLEDGED:
            self.unacknowledged.add((place, level))
        else:
            self.unacknowledged.discard((place, level))
        if new in _LIVE:
            levels.add(level)
        else:
            levels.discard(level)
        if level == Level.LOST:
            return
        spell = self.spells.setdefault(place, Spell())
        if levels - {Level.LOST}:
            if not self.first:
                self.first = place
            if math.isnan(spell.begin) or not math.isnan(spell.end):
                self.spells[place] = Spell(at)
        else:
            if not math.isnan(spell.begin) and math.isnan(spell.end):
                spell.end = at
            if not any(others - {Level.LOST} for others in self.live.values()):
                self.first = ""

    def state(self, place: str) -> Level:
        """The most urgent level that is on."""
        return max((Level(level) for level in self.live.get(place, ())), key=lambda level: level.urgency, default=Level.QUIET)

    def lost(self, place: str) -> bool:
        """True while it counts as lost, whatever else is on."""
        return Level.LOST in self.live.get(place, ())

    @property
    def sounding(self) -> bool:
        return any(level == Level.ACT for _, level in self.unacknowledged)


class BoardAlarms(_Book):
    """Mirrors the board's alarm events. `capable`: the board has limits of its own and said so. `unnamed`: what its lamp shows without an event that says
    for which place: the alarm came before the recording began."""

    def __init__(self) -> None:
        super().__init__()
        self.lamp: int | None = None
        self.unseen = False
        self.capable = False
        self.unnamed = Level.QUIET

    def health(self, lamp: int, unseen: int) -> None:
        """What the board reports: which lamp pattern it shows, and whether there was a warning that nobody acknowledged."""
        if lamp != LAMP_TEST:
            self.lamp = lamp
        if lamp in _NEED_LIMITS or lamp == LAMP_NO_LIMITS:
            self.capable = lamp != LAMP_NO_LIMITS
        shows = _LAMP_LEVELS.get(lamp, Level.QUIET)
        self.unnamed = Level.QUIET if any(self.state(place).urgency >= shows.urgency for place in self.live) else shows
        self.unseen = bool(unseen)

    def event(self, value: int, place: str, detail: bytes, at: float) -> None:
        """An alarm event, for the place its channel serves."""
        _, level, _, new = from_event_value(value)
        if level in alarm.ALARMS and new <= alarm.RETURNED_UNACKNOWLEDGED:
            self.turn(behind_needle(place) if detail == b"needle" else place, level, new, at)
            self.unnamed = Level.QUIET  # the lamp follows; its next message says what is left

    def new_boot(self) -> None:
        """The board restarted: it has no alarms."""
        self.live.clear()
        self.unacknowledged.clear()
        self.first = ""
        self.lamp = None
        self.capable = False
        self.unnamed = Level.QUIET


class HostAlarms(_Book):
    """hotfuel_wire.alarm over the margins worked out here."""

    def __init__(self, car: Car) -> None:
        super().__init__()
        self._names = margin_places(car)
        self._percolates = {name for name, (_, role) in car.limit_places.items() if role.percolates}
        self._last: dict[str, float] = {}
        self.at = 0.0
        self.row = 0  # of the batch
        self._machine = alarm.Alarms(len(self._names), self._changed)
        self.turned: Callable[[str, int, int], None] = lambda place, level, new: None  # called after each transition

    @property
    def unseen(self) -> bool:
        """True after a warning that nobody acknowledged."""
        return bool(self._machine.unseen)

    def acknowledge(self) -> None:
        """Acknowledge all alarms."""
        self._machine.acknowledge()

    def percolates(self, place: str, running: float) -> bool:
        """Boiling behind the needle after a hot stop is normal on today's fuel, and not certain at an injector
        or in the line to it: a note, not a warning."""
        return place in self._percolates and running == 0

    def update(self, seconds: np.ndarray, margins: dict[str, PlaceMargin], running: np.ndarray, rpm: np.ndarray) -> None:
        """All ticks of a batch. While pulses have stopped and it is not yet known whether the engine has too, an alarm of a place that percolates
        waits: a stop makes a note of it, and one raised in that time would stay on for its off-delay."""
        undecided = (running == 1) & (rpm < TURNING_RPM)
        for place, values in margins.items():
            if place not in self._names:
                continue
            number = self._names.index(place)
            centi, warn_below, use = alarm_inputs(values, running)
            if place in self._percolates:
                use = use & ~undecided
            rows = zip(seconds.tolist(), centi.tolist(), warn_below.tolist(), use.tolist(), strict=True)
            last = self._last.get(place, seconds[0])
            for row, (at, centi_now, warn_now, seen) in enumerate(rows):
                self.at, self.row = at, row
                if seen:
                    self._machine.update(number, centi_now, warn_now, round((at - last) * 1000))
                    last = at
            self._last[place] = last

    def _changed(self, number: int, level: int, _old: int, new: int) -> None:
        self.turn(self._names[number], level, new, self.at)
        self.turned(self._names[number], level, new)
