"""The amplifier chips, one row each: the only source for settings, drivers, decoding, the store and the simulated wiring.

Keys of a row. number: on the wire. bus: "spi" or "i2c". driver: module in firmware/chips. fastest_hz: highest reading rate. uv_per_code: EMF of one hot
code at gain 1 and the finest resolution; for a chip whose hot code is a temperature, line instead: degC per code, and uV per degC of its straight line.
hot_bits: bits of the hot code without sign, if the resolution is fixed. cold: the chip's own temperature: codes per degC, least and greatest degC.
faults: rows (bit mask, neutral name, True: this reading's temperature cannot be used). Optional: gains: amplifier gains that the setting `gain` may
choose, else 1. resolutions: bits that the setting `resolution_bits` may choose. most_averages: (mode, mains_hz) -> {rate_hz: most averages} of a chip
that averages, converts on demand and filters mains hum.
"""

ROWS = {  # type: dict
    "MAX31856": {
        "number": 1,
        "bus": "spi",
        "driver": "max31856",
        "fastest_hz": 10,
        "gains": (8, 32),
        "hot_bits": 17,
        "uv_per_code": 1000000 / (1.6 * 131072),  # voltage mode: code = gain * 1.6 * 2^17 * V (datasheet 19-7534)
        "cold": (256, -55, 125),
        # What it can finish within a period (its longest conversion times). The open-circuit test, every 16th conversion, takes up to 44 ms more
        # (datasheet, from memory): with the tightest rows one tick in 16 has no new conversion and reports NOT_READY.
        "most_averages": {
            ("one_shot", 60): {1: 16, 2: 8, 5: 2},
            ("one_shot", 50): {1: 16, 2: 8, 5: 1},
            ("automatic", 60): {1: 16, 2: 16, 5: 4, 10: 1},
            ("automatic", 50): {1: 16, 2: 16, 5: 4},
        },
        # Register 0Fh, SR. The range bits refer to the linearised result; a cold junction out of range voids any reading.
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
        "hot_bits": 13,
        "line": (0.25, 41.276),  # datasheet 19-5793
        "cold": (16, -40, 125),
        # Bits D2-D0 as read, with D16 (any fault) as bit 7.
        "faults": (
            (0x01, "open_circuit", True),
            (0x02, "short_to_ground", True),
            (0x04, "short_to_supply", True),
            (0x80, "any_fault", True),
        ),
    },
    "MCP9601": {
        "number": 3,
        "bus": "i2c",
        "driver": "mcp9601",
        "fastest_hz": 5,
        "resolutions": (12, 14, 16, 18),
        "uv_per_code": 2.0,  # at 18 bits (DS20005426; the 2 uV from memory), four times coarser for each two bits fewer
        "cold": (16, -40, 125),
        # STATUS, register 04h (DS20006173); bits 4 and 5 are open and short detection (from memory).
        "faults": ((0x10, "open_circuit", True), (0x20, "short_circuit", True)),
    },
    "MCP9600": {
        "number": 4,
        "bus": "i2c",
        "driver": "mcp9601",
        "fastest_hz": 5,
        "resolutions": (12, 14, 16, 18),
        "uv_per_code": 2.0,
        "cold": (16, -40, 125),
        # Bit 4 is only "input outside the range of the chosen type"; it has no open or short detection.
        "faults": ((0x10, "input_out_of_range", True),),
    },
}


def gain(name, chosen):
    """The gain a channel uses, given the board's setting."""
    gains = ROWS[name].get("gains", (1,))
    return chosen if chosen in gains else gains[-1]


def uv_per_code(name, chosen_gain, resolution_bits):
    """EMF of one hot code in uV at the board's settings; None for a chip whose hot code is a temperature."""
    row = ROWS[name]
    if "uv_per_code" not in row:
        return None
    finest = row.get("resolutions", (resolution_bits,))[-1]
    return row["uv_per_code"] / gain(name, chosen_gain) * (1 << (finest - resolution_bits))
