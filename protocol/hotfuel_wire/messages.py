"""Every message on the wire, declared once: firmware codec, host codec, numpy tables, inspection view and PROTOCOL.md are derived from these rows.

A row is (field, kind, unit, scale): value in `unit` = number on the wire * scale. The last of a message's first rows may be repeated:
(field, "group", counting field, rows) or (field, "bytes", counting field, None). What each field means in prose is in meanings.py.

A message grows only at its end, after the repeated part, by rows of five: (field, kind, unit, scale, default). A payload may end before any of them (an
older writer, or a newer one with no value for them): those fields then have their defaults. It may be longer (a newer writer): readers ignore the rest.
Published rows are never changed, moved or removed. A message that would pass PAYLOAD_MAX is split in two.
"""

import struct

from hotfuel_wire.amplifiers import ROWS

PAYLOAD_MAX = 240  # bytes; with the CRC 244, so COBS adds one byte to every frame
CHANNELS_MAX = 8

# Every payload begins with these.
HEADER = (
    ("type", "u8", None, 1),
    ("tick", "u32", None, 1),
    ("time_ms", "u32", "ms", 1),
)

# Set in `type` by a board that had to saturate a field of this payload.
SATURATED = 0x80

# `hot` codes that are reasons, not conversion results. They fit MicroPython's small integers on 32-bit boards.
NO_ANSWER = -0x3FFFFFFF  # the chip did not answer on its bus
# the chip's registers did not hold what was written (brown-out): the code would look plausible and be wrong
CONFIGURATION_LOST = -0x3FFFFFFE
NOT_READY = -0x3FFFFFFD  # no new conversion since the last tick
BIT_ERRORS = -0x3FFFFFFC  # repeated reads of the result disagreed
NOT_A_CODE = -0x3FFFFFF0  # every number below this is such a reason

NO_CHANNEL = 255

# These fields never change between protocol versions: an old host must be able to identify any board.
DESCRIPTION = (
    ("protocol_version", "u8", None, 1),
    ("firmware_major", "u8", None, 1),
    ("firmware_minor", "u8", None, 1),
    ("firmware_patch", "u8", None, 1),
    ("board_id", "id8", None, 1),
    ("boot_count", "u32", None, 1),
    ("reset_cause", "u8", None, 1),
    ("period_ms", "u16", "ms", 1),
    ("simulated", "u8", None, 1),
    ("simulated_speed", "u16", None, 1),
    ("channel_count", "u8", None, 1),
    (
        "channels",
        "group",
        "channel_count",
        (
            ("place", "text12", None, 1),
            ("chip", "u8", None, 1),
            ("thermocouple", "u8", None, 1),
            ("gain", "u8", None, 1),
            ("mains_hz", "u8", "Hz", 1),
            ("averages", "u8", None, 1),
            ("mode", "u8", None, 1),
            ("resolution_bits", "u8", "bit", 1),
        ),
    ),
)

READING = (
    ("description_id", "u32", None, 1),
    ("channel_count", "u8", None, 1),
    (
        "channels",
        "group",
        "channel_count",
        (
            ("hot", "i32", "chip code", 1),
            ("cold", "i16", "chip code", 1),
            ("status", "u8", "chip bits", 1),
        ),
    ),
)

AUXILIARY = (
    ("fitted", "u8", "bits", 1),
    ("inputs", "u8", "bits", 1),
    ("battery", "u16", "ADC code", 1),
    ("fuel_pressure", "u16", "ADC code", 1),
    ("pulses", "u32", "pulses", 1),
    ("barometer_length", "u8", "B", 1),
    ("barometer", "bytes", "barometer_length", None),
    ("fitted_high", "u16", "bits", 1, 0),
)

# The barometer chip's factory calibration, needed to turn its raw data into pressure.
BAROMETER = (
    ("chip", "u8", None, 1),
    ("words_length", "u8", "B", 1),
    ("words", "bytes", "words_length", None),
)

EVENT = (
    ("code", "u8", None, 1),
    ("channel", "u8", None, 1),
    ("value", "i32", None, 1),
    ("detail_length", "u8", "B", 1),
    ("detail", "bytes", "detail_length", None),
)

HEALTH = (
    ("late_ticks", "u32", "ticks", 1),
    ("skipped_ticks", "u32", "ticks", 1),
    ("longest_tick_us", "u32", "us", 1),
    ("frames_sent", "u32", "frames", 1),
    ("frames_dropped", "u32", "frames", 1),
    ("frames_stored", "u32", "frames", 1),
    ("readings_dropped", "u32", "readings", 1),
    ("memory_free", "u32", "B", 1),
    ("store_free_kb", "u16", "kB", 1),
    ("lamp", "u8", None, 1),
    ("alarm_unseen", "u8", None, 1),
    ("limits_age_days", "u16", "d", 1),
    ("bit_errors", "u32", "reads", 1, 0),
    ("failed", "u8", "bits", 1, 0),
)

COMMAND = (
    ("sequence", "u16", None, 1),
    ("code", "u8", None, 1),
    ("argument_length", "u8", "B", 1),
    ("argument", "bytes", "argument_length", None),
)

REPLY = (
    ("sequence", "u16", None, 1),
    ("code", "u8", None, 1),
    ("outcome", "u8", None, 1),
    ("answer_length", "u8", "B", 1),
    ("answer", "bytes", "answer_length", None),
)

# A piece of a stored segment, the answer to the command "fetch": 224 bytes at most.
DATA = (
    ("segment", "u16", None, 1),
    ("offset", "u32", "B", 1),
    ("data_length", "u8", "B", 1),
    ("data", "bytes", "data_length", None),
)

# The wall time of a board time: from the host, or from a board with a clock chip.
WALL_ANCHOR = (
    ("wall_us", "u64", "us", 1),
    ("monotonic_us", "u64", "us", 1),
    ("flags", "u8", "bits", 1),
)

# type number -> (name, rows after the header)
MESSAGES = {
    1: ("description", DESCRIPTION),
    2: ("reading", READING),
    3: ("auxiliary", AUXILIARY),
    4: ("event", EVENT),
    5: ("health", HEALTH),
    6: ("command", COMMAND),
    7: ("reply", REPLY),
    8: ("data", DATA),
    9: ("barometer", BAROMETER),
    64: ("wall_anchor", WALL_ANCHOR),
}  # type: dict
TYPES = {name: number for number, (name, _) in MESSAGES.items()}  # type: dict

# Numbers with names. Append only: a number once used keeps its meaning. From 256 = 1 << 8 on, bits of FITTED are sent in `fitted_high`.
CHIPS = {name: row["number"] for name, row in ROWS.items()}
del ROWS  # the rest of the table may leave the board's memory
BAROMETER_CHIPS = {"BMP280": 1, "BMP390": 2}
MODES = {"one_shot": 0, "automatic": 1}
RESET_CAUSES = {"unknown": 0, "power_on": 1, "watchdog": 3, "soft": 5, "wake": 6, "service": 7}
FITTED = {
    "barometer": 1,
    "battery": 2,
    "fuel_pressure": 4,
    "engine_pulses": 8,
    "ignition": 16,
    "mark_button": 32,
    "engine_pulses_irq": 64,
}
INPUTS = {"ignition": 1, "mark_button": 2, "ignition_unseen": 4}
EVENTS = {
    "boot": 1,
    "configuration_lost": 2,
    "chip_lost": 3,
    "chip_found": 4,
    "exception": 5,
    "settings_changed": 6,
    "mark": 7,
    "alarm": 8,
    "limits_loaded": 9,
    "ignition_on": 10,
    "ignition_off": 11,
    "clock_set": 12,
    "store_recovered": 13,
    "store_full": 14,
    "store_paused": 15,
    "low_voltage": 16,
    "sleep": 17,
    "chip_unsteady": 18,
    "fall_believed": 19,
    "module_failed": 20,
}
COMMANDS = {
    "version": 1,
    "info": 2,
    "settings_get": 3,
    "settings_set": 4,
    "clock": 5,
    "mark": 6,
    "acknowledge": 7,
    "warnings": 8,
    "identify": 9,
    "service": 10,
    "segments": 11,
    "fetch": 12,
    "forget": 13,
    "selftest": 14,
}
OUTCOMES = {"done": 0, "unknown_command": 1, "bad_argument": 2, "busy": 3, "not_fitted": 4, "failed": 5, "stale": 6}
FAILED = {"limits": 1, "store": 2, "power": 4, "settings": 8, "more_inputs": 16, "receiver": 32}
ANCHOR_FLAGS = {"board_clock": 1, "stated_by_user": 2}
if hasattr(struct, "Struct"):  # CPython, so a host; a board neither sends nor reads the host's messages
    from hotfuel_wire.hosts_own import GAP_REASONS as GAP_REASONS
