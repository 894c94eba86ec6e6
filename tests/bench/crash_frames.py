"""Frames known again by their number, and a link that plays them."""

import numpy as np
from hotfuel import samples
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import CHIPS

PLACES = ("tank", "pump", "carb_inlet")
CHANNEL = {
    "chip": CHIPS["MAX31856"],
    "thermocouple": ord("K"),
    "gain": 32,
    "mains_hz": 60,
    "averages": 1,
    "mode": 1,
    "resolution_bits": 19,
}
DESCRIPTION = codec.pack(
    "description",
    {
        "tick": 0,
        "time_ms": 0,
        "protocol_version": 1,
        "firmware_major": 0,
        "firmware_minor": 1,
        "firmware_patch": 0,
        "board_id": b"\x01board\x00\x00",
        "boot_count": 1,
        "reset_cause": 1,
        "period_ms": 20,
        "simulated": 1,
        "simulated_speed": 1,
        "channels": [{"place": place.encode(), **CHANNEL} for place in PLACES],
    },
)
NUMBER = codec.description_id(DESCRIPTION)


def codes(number: int) -> list[int]:
    """The three codes of frame `number`, by which it is recognised."""
    return [number, 200_000 - 7 * number, number * 2_654_435_761 % 250_000]


def frame(number: int) -> bytes:
    """Frame `number`: the description first, then readings at 50 a second."""
    if number == 0:
        return framing.encode(DESCRIPTION)
    channels = [{"hot": hot, "cold": 6400, "status": 0} for hot in codes(number)]
    return framing.encode(
        codec.pack("reading", {"tick": number, "time_ms": 20 * number, "description_id": NUMBER, "channels": channels})
    )


def numbers(decoded: samples.Decoded) -> list[int] | None:
    """Numbers of the readings in a decoded log, in its order; None if one of them was never sent."""
    hot = decoded.readings["hot"].reshape(-1, len(PLACES))
    kept = [int(row[0]) for row in hot]
    sent = np.array([codes(number) for number in kept]).reshape(-1, len(PLACES))
    return kept if np.array_equal(hot, sent) else None


class Played:
    """A link and its clock: each turn returns the next piece, and a tenth of a second passes."""

    url, problem, connected = "played", "", True

    def __init__(self, pieces: list[bytes]) -> None:
        self.pieces, self.now = list(pieces), 50.0

    def read(self, timeout_s: float) -> bytes:
        self.now += 0.1
        return self.pieces.pop(0) if self.pieces else b""

    def write(self, data: bytes) -> bool:
        return True

    def monotonic(self) -> float:
        return self.now

    def wall(self) -> float:
        return self.now + 1_780_000_000.0
