"""Converts an amplifier chip's codes and status to degrees: the only code that does.

A fault gives nan and a reason. Codes of another gain or chip look plausible and are wrong, so codes without a description are not converted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from hotfuel_wire import amplifiers
from hotfuel_wire.messages import BIT_ERRORS, CONFIGURATION_LOST, NO_ANSWER, NOT_A_CODE, NOT_READY
from hotfuel_wire.status import FAULT_BITS

from hotfuel.errors import InputError
from hotfuel.temperature.thermocouple import temperature_degc

# Code -> words for a person. 0 means that there is a temperature. Append only: stored columns hold these codes.
REASONS: dict[int, str] = {
    0: "",
    1: "the amplifier did not answer",
    2: "the amplifier had lost its configuration (supply dip) and was set up again",
    3: "no new conversion since the last reading",
    4: "open circuit: probe or wire broken or unplugged",
    5: "short to ground (a grounded junction bolted to metal reads like this too)",
    6: "short to the supply",
    7: "input outside the amplifier's range: a probe or wire touches metal or the supply",
    8: "short circuit across the probe",
    9: "the amplifier's own temperature is outside its range",
    10: "outside the type K range of -200 to 1372 °C",
    11: "the number did not fit its field on the wire",
    12: "the board's description for this reading is not in the log",
    13: "this chip, gain, resolution or thermocouple type is not known here",
    14: "a code this chip cannot send in this setting, or the end of its range",
    15: "the amplifier reports a fault without saying which",
    16: "bit errors: the amplifier's answers did not agree (its leads, its clock, a neighbour)",
    17: "the amplifier repeated one value, as none that measures does",
    18: "the amplifier's own temperature, as with a shorted lead",
    19: "the wrong way round, as with exchanged wires",
}
NO_DESCRIPTION, _UNKNOWN_KIND, _BEYOND_CODES, _SATURATED, _BEYOND_TABLE, _COLD_RANGE = 12, 13, 14, 11, 10, 9
# for these reasons the cold junction is unknown too
_COLD_UNKNOWN = np.isin(np.arange(256), (1, 2, 16, _SATURATED, NO_DESCRIPTION))
NO_NEW_CONVERSION = 3
STUCK, SHORTED, REVERSED = 17, 18, 19  # of a recording as a whole: hotfuel.temperature.trust
_BLOCK = 1 << 14  # scans converted together
_NOT_CODES = {NO_ANSWER: 1, CONFIGURATION_LOST: 2, NOT_READY: NO_NEW_CONVERSION, BIT_ERRORS: 16}
_FAULT_REASONS = {
    "open_circuit": 4,
    "short_to_ground": 5,
    "short_to_supply": 6,
    "input_out_of_range": 7,
    "short_circuit": 8,
    "cold_out_of_range": 9,
    "any_fault": 15,
}

_ROWS = {row["number"]: (name, row) for name, row in amplifiers.ROWS.items()}


@dataclass(frozen=True)
class ChipScale:
    """The scale of a code. Either `mv_per_code` (the chip sends an EMF) or `hot_degc_per_code` (it sends a temperature, linear in EMF by
    `hot_mv_per_degc` from the cold junction's)."""

    cold_degc_per_code: float
    cold_range_degc: tuple[float, float]
    hot_code_greatest: int  # codes at or above it mean the end of the range
    mv_per_code: float = np.nan
    hot_degc_per_code: float = np.nan
    hot_mv_per_degc: float = np.nan


def scale(chip: int, gain: int, resolution_bits: int) -> ChipScale | None:
    """The scale of one channel's codes; None for an unknown chip, gain or resolution.

    Figures and sources: hotfuel_wire.amplifiers. For a chip whose hot code is a temperature, gain and resolution are ignored.
    """
    if chip not in _ROWS:
        return None
    name, row = _ROWS[chip]
    bits = row.get("hot_bits") or resolution_bits - 1
    codes, least, most = row["cold"]
    cold, cold_range = 1 / codes, (float(least), float(most))
    if "line" in row:
        degc, uv = row["line"]
        return ChipScale(cold, cold_range, 1 << bits, hot_degc_per_code=degc, hot_mv_per_degc=uv / 1000)
    if gain not in row.get("gains", (gain,)) or resolution_bits not in row.get("resolutions", (resolution_bits,)):
        return None
    uv = amplifiers.uv_per_code(name, gain, resolution_bits)
    return ChipScale(cold, cold_range, (1 << bits) - 1, mv_per_code=uv / 1000)


class Calibrated(Protocol):
    """What to_degc needs of a calibration: corrects measured degrees; nan stays nan."""

    def corrected_degc(self, measured_degc: np.ndarray) -> np.ndarray: ...


class BoardCalibration(Protocol):
    """What scans_degc needs of a board's calibration (hotfuel.temperature.calibration.Calibration)."""

    @property
    def board_id(self) -> str:
        """16 hexadecimal digits."""

    def channel(self, number: int, place: str) -> Calibrated | None:
        """The correction of a channel at a place, None if it has none."""


def loop_emf_mv(hot: npt.ArrayLike, cold_degc: npt.ArrayLike, chip_scale: ChipScale) -> np.ndarray:
    """EMF at the chip's terminals, mV, from its hot code; a chip's linearised temperature is converted back to EMF. Any shapes that broadcast."""
    codes = np.asarray(hot, dtype=float)
    if np.isnan(chip_scale.mv_per_code):
        return chip_scale.hot_mv_per_degc * (codes * chip_scale.hot_degc_per_code - np.asarray(cold_degc, dtype=float))
    return codes * chip_scale.mv_per_code


def cold_degc(cold: npt.ArrayLike, *, chip: int, gain: int = 32, resolution_bits: int = 18) -> np.ndarray:
    """The amplifier's own temperature, degC, from its cold code (any shape); nan for an unknown chip."""
    known = scale(chip, gain, resolution_bits)
    codes = np.asarray(cold, dtype=float)
    return codes * known.cold_degc_per_code if known else np.full(codes.shape, np.nan)


def to_degc(
    hot: npt.ArrayLike,
    cold: npt.ArrayLike,
    status: npt.ArrayLike,
    *,
    chip: int,
    gain: int,
    resolution_bits: int,
    saturated: npt.ArrayLike | None = None,
    known: npt.ArrayLike | None = None,
    calibration: Calibrated | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Temperature of the measuring junction from one channel's raw codes.

    hot, cold, status: integers as sent, any shapes that broadcast. chip: number in hotfuel_wire.messages.CHIPS; gain and resolution_bits from the
    board description. saturated: True where the board had to cut a number; known: True where the reading's description is in the log.
    Returns (degC, float64, nan where there is none; reason, uint8, a key of REASONS, 0 where there is a temperature), both the broadcast shape.
    Raises InputError if the shapes do not broadcast. Example: to_degc(6905, 8960, 0, chip=1, gain=32, resolution_bits=19) -> (60.0, 0) to 4 mK.
    """
    try:
        hot_codes, cold_codes, bits = np.broadcast_arrays(np.asarray(hot), np.asarray(cold), np.asarray(status))
    except ValueError as error:
        raise InputError(f"hot, cold and status codes must have shapes that fit together: {error}") from None
    reason = np.zeros(hot_codes.shape, dtype=np.uint8)
    chip_scale = scale(chip, gain, resolution_bits)
    if chip_scale is None:
        reason[...] = _UNKNOWN_KIND
        degc = np.full(hot_codes.shape, np.nan)
    else:
        cold_temperature = cold_codes * chip_scale.cold_degc_per_code
        degc = temperature_degc(loop_emf_mv(hot_codes, cold_temperature, chip_scale), cold_temperature)
        # Later lines outrank earlier ones: faults of the transfer outrank those the chip reports, which outrank an implausible number.
        np.copyto(reason, _BEYOND_TABLE, where=np.isnan(degc))
        least, greatest = chip_scale.cold_range_degc
        np.copyto(reason, _COLD_RANGE, where=(cold_temperature < least) | (cold_temperature > greatest))
        np.copyto(reason, _BEYOND_CODES, where=np.abs(hot_codes) >= chip_scale.hot_code_greatest)
        if bits.any():
            for mask, name, fatal in reversed(FAULT_BITS[chip]):
                if fatal:
                    np.copyto(reason, _FAULT_REASONS[name], where=(bits & mask) != 0)
        if hot_codes.size and hot_codes.min() < NOT_A_CODE:
            np.copyto(reason, _BEYOND_CODES, where=hot_codes < NOT_A_CODE)
            for code, why in _NOT_CODES.items():
                np.copyto(reason, why, where=hot_codes == code)
    if saturated is not None:
        np.copyto(reason, _SATURATED, where=np.asarray(saturated, dtype=bool))
    if known is not None:
        np.copyto(reason, NO_DESCRIPTION, where=~np.asarray(known, dtype=bool))
    degc[reason != 0] = np.nan
    if calibration is not None:
        degc = calibration.corrected_degc(degc)
    return degc, reason


def scans_degc(
    scans: np.ndarray, descriptions: Mapping[int, Mapping[str, Any]], calibration: BoardCalibration | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """to_degc over a table of scans (hotfuel.samples.table.scans) whose descriptions, chips and channels differ.

    descriptions: description_id -> the description's values as hotfuel_wire.codec.unpack gives them. calibration: of one board; another
    board's readings are not corrected. Returns (degC, reason, amplifier's own temperature degC), each (scans, channels); a channel that a scan does not
    have counts as one without description.
    """
    shape = (len(scans), scans.dtype["channels"].shape[0])
    degc, cold = np.full((2, *shape), np.nan)
    reason = np.full(shape, NO_DESCRIPTION, dtype=np.uint8)
    for start in range(0, len(scans), _BLOCK):  # in blocks, so that a day's readings are never copied as a whole
        part = slice(start, start + _BLOCK)
        _fill_degc(scans[part], descriptions, calibration, degc[part], reason[part], cold[part])
    return degc, reason, cold


def _fill_degc(
    scans: np.ndarray,
    descriptions: Mapping[int, Mapping[str, Any]],
    calibration: BoardCalibration | None,
    degc: np.ndarray,
    reason: np.ndarray,
    cold: np.ndarray,
) -> None:
    """Converts channels of one kind together: a single scan costs one call, not one per channel."""
    there = np.arange(degc.shape[1]) < scans["width"][:, None]
    for description_id, description in descriptions.items():
        rows = np.flatnonzero(scans["description_id"] == description_id)
        if not rows.size:
            continue
        named = slice(None) if len(rows) == len(scans) else rows
        sent, sent_at_all = scans["channels"][named], there[named]
        board = bytes(description.get("board_id", b"")).hex()  # another board's readings in the same log are not corrected
        own = calibration if calibration is not None and calibration.board_id == board else None
        saturated, known = scans["saturated"][named, None], scans["known"][named, None] & sent_at_all
        kinds: dict[tuple[int, int, int], list[int]] = {}
        for number, channel in enumerate(description["channels"][: degc.shape[1]]):
            chip = channel["chip"] if channel["thermocouple"] == ord("K") else 0  # 0: no chip has it, gives "not known here"
            kinds.setdefault((chip, channel["gain"], channel["resolution_bits"]), []).append(number)
        for (chip, gain, resolution_bits), numbers in kinds.items():
            mine = slice(numbers[0], numbers[-1] + 1) if numbers[-1] - numbers[0] < len(numbers) else numbers
            hot, cold_codes, status = (sent[name][:, mine] for name in ("hot", "cold", "status"))
            values, why = to_degc(
                hot, cold_codes, status, chip=chip, gain=gain, resolution_bits=resolution_bits, saturated=saturated, known=known[:, mine]
            )  # fmt: skip
            measured = cold_degc(cold_codes, chip=chip, gain=gain, resolution_bits=resolution_bits)
            measured[_COLD_UNKNOWN[why]] = np.nan
            for at, number in enumerate(numbers):
                degc[named, number], reason[named, number], cold[named, number] = values[:, at], why[:, at], measured[:, at]
                correction = own.channel(number, _place(description["channels"][number])) if own is not None else None
                if correction is not None:
                    degc[named, number] = correction.corrected_degc(values[:, at])
        declared = len(description["channels"])
        reason[named, declared:] = np.where(sent_at_all[:, declared:], _UNKNOWN_KIND, reason[named, declared:])


def _place(channel: Mapping[str, Any]) -> str:
    """Its place as the board names it."""
    return bytes(channel["place"]).rstrip(b"\x00").decode("ascii", "replace")
