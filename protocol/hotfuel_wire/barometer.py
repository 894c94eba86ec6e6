"""Air pressure from a barometer chip's raw words: one function for host and board. BMP280 in integers, BMP390 in floats (single precision will do).

Sources: BMP280 datasheet BST-BMP280-DS001, 3.11.3 and the worked example of 3.12; BMP390 datasheet BST-BMP390-DS002, 8.4 to 8.6 (from memory).
"""

import struct

from hotfuel_wire.messages import BAROMETER_CHIPS

_BMP280, _BMP390 = BAROMETER_CHIPS["BMP280"], BAROMETER_CHIPS["BMP390"]
LEAST_PA, GREATEST_PA = 30000, 125000  # both chips' range


class BarometerError(ValueError):
    """The bytes cannot come from a barometer. The message says what was seen."""


def air_pressure_pa(chip, words, data):
    """Air pressure in Pa from the chip's calibration registers `words` and its data registers `data` as read.

    Raises BarometerError for an unknown chip, a wrong number of bytes, or a result outside 30 to 125 kPa.
    """
    if chip == _BMP280:
        _lengths(words, 24, data)
        pa = _bmp280(words, data)
    elif chip == _BMP390:
        _lengths(words, 21, data)
        pa = _bmp390(words, data)
    else:
        raise BarometerError("barometer chip %d is not known; known are %s" % (chip, sorted(BAROMETER_CHIPS.values())))
    if not LEAST_PA <= pa <= GREATEST_PA:
        raise BarometerError("%d Pa is outside the barometer's 30 to 125 kPa" % pa)
    return pa


def _lengths(words, size, data):
    if len(words) != size or len(data) != 6:
        raise BarometerError("%d and 6 bytes expected, %d and %d seen" % (size, len(words), len(data)))


def _bmp280(words, data):
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = struct.unpack("<HhhHhhhhhhhh", bytes(words))
    raw_p = data[0] << 12 | data[1] << 4 | data[2] >> 4
    raw_t = data[3] << 12 | data[4] << 4 | data[5] >> 4
    fine = ((((raw_t >> 3) - (t1 << 1)) * t2) >> 11) + ((((((raw_t >> 4) - t1) * ((raw_t >> 4) - t1)) >> 12) * t3) >> 14)
    var1 = fine - 128000
    var2 = var1 * var1 * p6 + ((var1 * p5) << 17) + (p4 << 35)
    var1 = (((1 << 47) + ((var1 * var1 * p3) >> 8) + ((var1 * p2) << 12)) * p1) >> 33
    if var1 <= 0:
        return 0
    p = (((1048576 - raw_p) << 31) - var2) * 3125 // var1
    p = ((p + ((p9 * (p >> 13) * (p >> 13)) >> 25) + ((p8 * p) >> 19)) >> 8) + (p7 << 4)
    return p >> 8


def _bmp390(words, data):
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9, p10, p11 = struct.unpack("<HHbhhbbHHbbhbb", bytes(words))
    p = data[0] | data[1] << 8 | data[2] << 16
    offset = (data[3] | data[4] << 8 | data[5] << 16) - t1 * 256
    t = offset * (t2 / 2.0**30) + offset * (offset * (t3 / 2.0**48))
    steady = p5 * 8.0 + p6 / 2.0**6 * t + p7 / 2.0**8 * t * t + p8 / 2.0**15 * t * t * t
    linear = (p1 - 16384) / 2.0**20 + (p2 - 16384) / 2.0**29 * t + p3 / 2.0**32 * t * t + p4 / 2.0**37 * t * t * t
    square = p9 / 2.0**48 + p10 / 2.0**48 * t
    return int(steady + p * (linear + p * (square + p * (p11 / 2.0**65))))
