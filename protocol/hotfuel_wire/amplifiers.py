"""The amplifier chips, one row each: what settings, drivers, decoding, the store and the simulated wiring know of a chip they read here.

A row: number: on the wire. bus: "spi" or "i2c". driver: module in firmware/chips. fastest_hz: readings a second it can keep up with.
gains: amplifier gains the setting `gain` may choose; (1,): it has none to choose. resolutions: bits the setting `resolution_bits` may choose; (): fixed.
hot_bits: bits of the hot code without sign, where the resolution is fixed. uv_per_code: EMF of one hot code at gain 1 and its finest resolution.
degc_per_code: of a chip whose hot code is a temperature instead, on a straight line of uv_per_degc. cold_codes_per_degc, cold_range_degc: its own
temperature. most_averages: (mode, mains_hz) -> {rate_hz: most averages} where the chip averages, converts on demand and filters mains hum; None: it does
not. faults: rows (bit mask, neutral name, True: the temperature of this reading cannot be used).
"""

_MCP9600 = {  # type: dict
    "number": 4,
    "bus": "i2c",
    "driver": "mcp9601",
    "fastest_hz": 5,
    "gains": (1,),
    "resolutions": (12, 14, 16, 18),
    "hot_bits": None,
    "uv_per_code": 2.0,  # at 18 bits (DS20005426; the 2 uV from memory), four times coarser for each two bits fewer
    "degc_per_code": None,
    "uv_per_degc": None,
    "cold_codes_per_degc": 16,
    "cold_range_degc": (-40, 125),
    "most_averages": None,
    # STATUS, register 04h: bit 4 is only "input outside the range of the chosen type"; it has no open or short detection.
    "faults": ((0x10, "input_out_of_range", True),),
}

ROWS = {  # type: dict
    "MAX31856": {
        "number": 1,
        "bus": "spi",
        "driver": "max31856",
        "fastest_hz": 10,
        "gains": (8, 32),
        "resolutions": (),
        "hot_bits": 17,
        "uv_per_code": 1000000 / (1.6 * 131072),  # voltage mode: code = gain * 1.6 * 2^17 * V (datasheet 19-7534)
        "degc_per_code": None,
        "uv_per_degc": None,
        "cold_codes_per_degc": 256,
        "cold_range_degc": (-55, 125),
        # What it can finish within a period (its longest conversion times). The open-circuit test, every 16th conversion, takes up to 44 ms more
        # (datasheet, from memory): where a row is that tight, one tick in 16 has no new conversion and says so.
        "most_averages": {
            ("one_shot", 60): {1: 16, 2: 8, 5: 2},
            ("one_shot", 50): {1: 16, 2: 8, 5: 1},
            ("automatic", 60): {1: 16, 2: 16, 5: 4, 10: 1},
            ("automatic", 50): {1: 16, 2: 16, 5: 4},
        },
        # Register 0Fh, SR. The range bits speak of the linearised result; the cold junction's makes any reading void.
        "faults": (
            (0x01, "open_circuit", True),
            (0x02, "input_out_of_range", True),
            (0x04, "hot_low_threshold", False),
            (0x08, "hot_high_threshold", False),
            (0x10, "cold_low_threshold", False),
            (0x20, "cold_high_threshold", False),
            (0x40, "hot_out_of_range", False),
            (0x80, "cold_out_of_range", True),
        ),
    },
    "MAX31855": {
        "number": 2,
        "bus": "spi",
        "driver": "max31855",
        "fastest_hz": 5,
        "gains": (1,),
        "resolutions": (),
        "hot_bits": 13,
        "uv_per_code": None,
        "degc_per_code": 0.25,  # datasheet 19-5793
        "uv_per_degc": 41.276,
        "cold_codes_per_degc": 16,
        "cold_range_degc": (-40, 125),
        "most_averages": None,
        # Bits D2-D0 as read, with D16 (any fault) as bit 7.
        "faults": (
            (0x01, "open_circuit", True),
            (0x02, "short_to_ground", True),
            (0x04, "short_to_supply", True),
            (0x80, "any_fault", True),
        ),
    },
    "MCP9601": {},
    "MCP9600": _MCP9600,
}
ROWS["MCP9601"].update(_MCP9600)
# STATUS, register 04h (DS20006173); bits 4 and 5 are the MCP9601's open and short detection (from memory).
ROWS["MCP9601"].update({"number": 3, "faults": ((0x10, "open_circuit", True), (0x20, "short_circuit", True))})


def gain(name, chosen):
    """The gain a channel works with, of the one chosen for the board."""
    return chosen if chosen in ROWS[name]["gains"] else ROWS[name]["gains"][-1]


def uv_per_code(name, with_gain, resolution_bits):
    """EMF of one hot code in uV; None for a chip whose hot code is a temperature."""
    row = ROWS[name]
    if row["uv_per_code"] is None:
        return None
    finest = row["resolutions"][-1] if row["resolutions"] else resolution_bits
    return row["uv_per_code"] / with_gain * (1 << (finest - resolution_bits))
