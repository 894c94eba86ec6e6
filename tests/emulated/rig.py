"""What trials share: a result row, boards that were started once and are copied for each trial, and functions that read a board's bytes."""

import functools
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from hotfuel import samples
from hotfuel.temperature.counts import scans_degc

from emulated import ready, talk
from emulated.board import EmulatedBoard
from emulated.chips import Fitted

FIRST_READING_S = 6.0
BUTTON_LEAD_US = 80  # 1 nF charged by the RP2040's weakest pull-up, 80 kohm, to 2.0 V: three metres of lead and a filter


@dataclass(frozen=True)
class Row:
    """One finding: what was tried, what came out, and whether it is as it should be."""

    trial: str
    found: str
    holds: bool


def started(board: EmulatedBoard, most_s: float = FIRST_READING_S) -> EmulatedBoard:
    """Switch on and run until the host has the first readings frame."""
    board.power_on()
    board.until(lambda: any(name == "reading" for name, _ in talk.messages(bytes(board.usb.received))), most_s, 0.01)
    return board


class Rig:
    """The boards of one image, each started once; a trial works on a copy (see board.in_a_copy)."""

    def __init__(self, image: Path) -> None:
        self.image = image

    @functools.cached_property
    def three(self) -> EmulatedBoard:
        """Three MAX31856 at 5 Hz, as the board is installed."""
        return started(ready.board(self.image))

    @functools.cached_property
    def eight(self) -> EmulatedBoard:
        """Eight MAX31856 at 10 Hz, with the button on a long lead."""
        board = ready.board(self.image, Fitted(("MAX31856",) * 8), ready.EIGHT_AT_TEN)
        board.slow_button(BUTTON_LEAD_US)
        return started(board)


def degrees(data: bytes, boards: EmulatedBoard) -> tuple[np.ndarray, np.ndarray]:
    """The host's decoding of these bytes, which must hold a description: degC and reason, each (readings, channels)."""
    decoded = samples.decode(data)
    degc, reason, _ = scans_degc(decoded.scans, decoded.descriptions)
    count = len(boards.fitted.chips)
    return degc[:, :count], reason[:, :count]


def described(board: EmulatedBoard, seconds: float) -> bytes:
    """The bytes of so many seconds, starting with a description that is requested."""
    board.usb.take()
    with talk.boards_time(board) as port:
        talk.Talk(port).ask("info")
        begun = bytes(port.log)
    board.run(seconds)
    return begun + board.usb.take()


def health(data: bytes) -> dict[str, Any]:
    """The last health message in these bytes."""
    return talk.last(data, "health")


def event_codes(data: bytes) -> list[int]:
    """The events in these bytes, by number."""
    return [values["code"] for name, values in talk.messages(data) if name == "event"]


Trial = Callable[[Rig], list[Row]]
