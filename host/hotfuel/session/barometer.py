"""The barometer chips' raw words to pressure, by each chip's own factory words.

BMP280: Bosch BST-BMP280-DS001, 3.11.3 and 8.1 (floating point); the datasheet's worked example is in the tests. BMP390: Bosch BST-BMP390-DS002,
8.4 to 8.6. Formulas and scales of both are from memory of those datasheets.
"""

import struct
from collections.abc import Sequence

import numpy as np
from hotfuel_wire.messages import BAROMETER_CHIPS

RANGE_KPA = (30.0, 110.0)  # the chips' range; anything else is a wrong word, not a pressure

# BMP390: NVM scale of each coefficient as a power of two, and what is taken off first for P1 and P2.
_BMP390_POWERS = (8, -30, -48, -20, -29, -32, -37, 3, -6, -8, -15, -48, -48, -65)


class Barometer:
    """One chip. Make it with `of`."""

    def __init__(self, chip: int, words: tuple[float, ...]) -> None:
        self._chip = chip
        self._words = words

    @classmethod
    def of(cls, chip: int, words: bytes) -> "Barometer | None":
        """A chip by its number in BAROMETER_CHIPS and its calibration registers as read; None if these are no such words."""
        if chip == BAROMETER_CHIPS["BMP280"] and len(words) == 24:
            return cls(chip, struct.unpack("<HhhHhhhhhhhh", words))
        if chip == BAROMETER_CHIPS["BMP390"] and len(words) == 21:
            raw = struct.unpack("<HHbhhbbHHbbhbb", words)
            scaled = [float(value) * 2.0**power for value, power in zip(raw, _BMP390_POWERS, strict=True)]
            scaled[3] = (raw[3] - 16384.0) * 2.0**-20
            scaled[4] = (raw[4] - 16384.0) * 2.0**-29
            return cls(chip, tuple(scaled))
        return None

    def pressure_kpa(self, registers: Sequence[bytes]) -> np.ndarray:
        """Pressure from the data registers as read (pressure, then temperature, three bytes each), one entry a row; nan for other lengths."""
        result = np.full(len(registers), np.nan)
        rows = [number for number, data in enumerate(registers) if len(data) == 6]
        if not rows:
            return result
        data = np.frombuffer(b"".join(registers[number] for number in rows), np.uint8).reshape(-1, 6).astype(float)
        if self._chip == BAROMETER_CHIPS["BMP280"]:
            pressure, temperature = (data[:, at] * 4096 + data[:, at + 1] * 16 + data[:, at + 2] // 16 for at in (0, 3))
            pascal = self._bmp280_pa(pressure, temperature)
        else:
            pressure, temperature = (data[:, at] + data[:, at + 1] * 256 + data[:, at + 2] * 65536 for at in (0, 3))
            pascal = self._bmp390_pa(pressure, temperature)
        kpa = pascal / 1000
        result[rows] = np.where((kpa >= RANGE_KPA[0]) & (kpa <= RANGE_KPA[1]), kpa, np.nan)
        return result

    def _bmp280_pa(self, pressure: np.ndarray, temperature: np.ndarray) -> np.ndarray:
        t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = self._words
        fine = (temperature / 16384 - t1 / 1024) * t2 + (temperature / 131072 - t1 / 8192) ** 2 * t3
        a = fine / 2 - 64000
        b = a * a * p6 / 32768 + a * p5 * 2
        b = b / 4 + p4 * 65536
        a = (p3 * a * a / 524288 + p2 * a) / 524288
        a = (1 + a / 32768) * p1
        with np.errstate(divide="ignore", invalid="ignore"):
            pa = (1048576 - pressure - b / 4096) * 6250 / a
            return pa + (p9 * pa * pa / 2147483648 + pa * p8 / 32768 + p7) / 16

    def _bmp390_pa(self, pressure: np.ndarray, temperature: np.ndarray) -> np.ndarray:
        t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9, p10, p11 = self._words
        step = temperature - t1
        t = step * t2 + step * step * t3  # degC
        offset = p5 + p6 * t + p7 * t**2 + p8 * t**3
        slope = p1 + p2 * t + p3 * t**2 + p4 * t**3
        return offset + slope * pressure + (p9 + p10 * t) * pressure**2 + p11 * pressure**3
