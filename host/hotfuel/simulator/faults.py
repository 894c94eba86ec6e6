"""Faults of the simulated board that a person asks for, with their times: `--fault "pump=loose at 2 min for 30 s"`."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hotfuel.errors import InputError, UsageError
from hotfuel.units import parse

if TYPE_CHECKING:
    from hotfuel.simulator.board import SimulatedBoard

# Asked for -> (its name in chips/thermocouple.py, what is told when it begins)
AT_A_PLACE = {
    "unplugged": ("open_circuit", "the probe's plug is out"),
    "loose": ("open_circuit", "the probe's plug is loose: no contact for 0.8 s of every 2 s"),
    "shorted": ("shorted", "the probe's two leads touch each other"),
    "grounded": ("ground_short", "a lead of the probe touches the car's metal"),
    "reversed": ("reversed", "the probe's two leads are swapped"),
    "dead": ("gone", "the amplifier does not answer"),
    "stopped": ("frozen", "the amplifier answers and no longer converts"),
    "dip": ("brown_out", "the amplifier's supply dips for a moment"),
}
USB = "usb"
AT_THE_USB = {"unplugged": "the USB plug is out"}
_LOOSE_US = 800_000, 2_000_000  # without contact, of every so much
_ASKED = re.compile(r"\s*(\w+)\s*=\s*(\w+)(?:\s+at\s+(.+?))?(?:\s+for\s+(.+?))?\s*")


@dataclass(frozen=True)
class Fault:
    """One of them, from `begin_s` of the drive on, for `length_s` (None: to the end)."""

    place: str
    kind: str
    begin_s: float = 0.0
    length_s: float | None = None

    def words(self) -> str:
        """What it is."""
        return f"usb: {AT_THE_USB[self.kind]}" if self.place == USB else f"{self.place}: {AT_A_PLACE[self.kind][1]}"

    def is_on(self, time_s: float) -> bool:
        """Whether it holds at this time of the drive."""
        since_s = time_s - self.begin_s
        return since_s >= 0 and (self.length_s is None or since_s < self.length_s)

    def times_us(self) -> tuple[int, int | None, int | None, int | None]:
        """When it shows, for the board: it begins, it ends, and for a loose plug how long it shows and how often; None: for good, all the time."""
        begin_us = round(self.begin_s * 1e6)
        end_us = None if self.length_s is None else begin_us + round(self.length_s * 1e6)
        return (begin_us, end_us, *(_LOOSE_US if self.kind == "loose" else (None, None)))


def fault_of(asked: str, places: Sequence[str]) -> Fault:
    """A fault from its words. Raises UsageError that names what there is."""
    match = _ASKED.fullmatch(asked)
    if match is None:
        raise UsageError(f'--fault "{asked}" is not understood: write it like "{places[-1]}=loose at 2 min for 30 s"')
    place, kind, begin, length = match.groups()
    if place not in (*places, USB):
        raise UsageError(f'--fault "{asked}": there is no place "{place}"; there are {", ".join((*places, USB))}')
    kinds = AT_THE_USB if place == USB else AT_A_PLACE
    if kind not in kinds:
        raise UsageError(f'--fault "{asked}": there is no fault "{kind}" at {place}; there are {", ".join(kinds)}')
    if length and kind == "dip":
        raise UsageError(f'--fault "{asked}": a dip lasts a moment; leave out "for {length}"')
    try:
        begin_s, length_s = parse(begin, "time") if begin else 0.0, parse(length, "time") if length else None
    except InputError as error:
        raise UsageError(f'--fault "{asked}": {error}') from None
    if begin_s < 0 or (length_s is not None and length_s <= 0):
        raise UsageError(f'--fault "{asked}": it begins at 0 s of the drive or later and lasts longer than 0 s')
    return Fault(place, kind, begin_s, length_s)


class Switchboard:
    """Switches the faults of a running board; `told` gets a sentence when one begins or ends.

    The board gets those of its places once and switches them by its own time: seconds of it pass between two calls of `turn` when it runs fast.
    """

    def __init__(self, faults: Sequence[Fault], places: Sequence[str], told: Callable[[str], None]) -> None:
        self._faults, self._places, self._told = faults, places, told
        self._on = [False] * len(faults)
        self._planned = False

    def turn(self, board: "SimulatedBoard") -> None:
        """Bring every fault to the board's present time; call it often."""
        now_s = board.time_s
        if not self._planned:
            self._planned = True
            for fault in self._faults:
                if fault.place != USB:
                    board.fault(self._places.index(fault.place), AT_A_PLACE[fault.kind][0], times_us=fault.times_us())
        for number, fault in enumerate(self._faults):
            on = fault.is_on(now_s)
            if on != self._on[number]:
                self._told(f"{fault.words() if on else f'{fault.place}: whole again'} ({now_s:.0f} s of the drive)")
                if fault.place == USB:
                    (board.unplug if on else board.plug)()
            self._on[number] = on
