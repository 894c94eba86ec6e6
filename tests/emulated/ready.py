"""Boards ready for a trial: flash contents as `hotfuel board install` writes them, with the settings and limits a trial wants."""

import binascii
import datetime
import functools
import struct
import tempfile
from collections.abc import Mapping
from pathlib import Path

from hotfuel import car as car_file
from hotfuel.install.staging import stage
from hotfuel.risk import board_limits
from hotfuel.simulator.wiring import settings_text
from hotfuel_wire.messages import CHIPS

from emulated.board import EmulatedBoard
from emulated.chips import Fitted
from emulated.flash import folder_files

EIGHT_AT_TEN: dict[str, object] = {"rate_hz": 10, "mode": "automatic"}


@functools.cache
def installed(bytecode: bool = True) -> dict[str, bytes]:
    """The files of an installed board, by name."""
    with tempfile.TemporaryDirectory() as folder:
        stage(Path(folder), bytecode=bytecode)
        return folder_files(Path(folder))


def twin(content: bytes, sequence: int = 1) -> bytes:
    """The bytes of a settings file: sequence, length, content, CRC-32 of all before it."""
    data = struct.pack("<II", sequence, len(content)) + content
    return data + struct.pack("<I", binascii.crc32(data))


def board(
    image: Path,
    fitted: Fitted | None = None,
    settings: Mapping[str, object] | None = None,
    more: Mapping[str, bytes] | None = None,
    *,
    bytecode: bool = True,
) -> EmulatedBoard:
    """An installed board, switched off. settings: besides chips, places and addresses; no inputs unless named. more: files
    besides the installed ones."""
    fitted = fitted or Fitted()
    wanted = {"inputs": (), **(settings or {})}
    text = settings_text(fitted.chips, wanted)
    files = {**installed(bytecode), "settings_a": twin(text.encode()), **(more or {})}
    return EmulatedBoard(image, files, fitted)


def example_limits() -> tuple[bytes, ...]:
    """The blocks of the example car's limits for three MAX31856 at gain 32, as `hotfuel board warnings` sends them."""
    car = car_file.load(car_file.EXAMPLE)
    setting = board_limits.ChannelSetting(CHIPS["MAX31856"], 32, 19)
    made = datetime.datetime(2026, 6, 1, tzinfo=datetime.UTC)
    tables = board_limits.board_tables(car, car.fuel(), {0: setting, 1: setting, 2: setting}, made)
    return (tables.head, *tables.pieces)
