"""Inputs that only some boards have, one row each, and their messages. A board loads this only if one is fitted or while a setting is changed.

Settings, firmware, host, simulator and PROTOCOL.md's tables read the rows; messages are declared as in messages.py.
"""

# name in the setting more_inputs -> number on the wire. Append only.
INPUTS = {"analogue_1": 1, "analogue_2": 2, "analogue_3": 3, "analogue_4": 4, "flow_1": 17, "flow_2": 18, "receiver": 33}
RECEIVER = "receiver"  # has messages of its own
CONVERTER_V_PER_CODE = 4.096 / 32768  # ADS1115 at the range of 4.096 V either way (datasheet SBAS444, table of full-scale ranges)

MORE_INPUTS = (
    ("count", "u8", None, 1),
    ("inputs", "group", "count", (("input", "u8", None, 1), ("value", "i32", None, 1))),
)

# An NMEA 0183 sentence from a satellite receiver at the board, as received; live only.
RECEIVER_SENTENCE = (
    ("text_length", "u8", "B", 1),
    ("text", "bytes", "text_length", None),
)

# That receiver's positions, ten in one message: a message a second would take a quarter of the store.
TRACK = (
    ("age_ms", "u16", "ms", 1),
    ("time_cs", "u32", "cs", 1),
    ("latitude", "i32", "min", 1e-5),
    ("longitude", "i32", "min", 1e-5),
    ("speed", "u16", "knot", 0.01),
    ("count", "u8", None, 1),
    (
        "steps",
        "group",
        "count",
        (
            ("later_cs", "u16", "cs", 1),
            ("north", "i16", "min", 1e-5),
            ("east", "i16", "min", 1e-5),
            ("speed", "u16", "knot", 0.01),
        ),
    ),
)

ROWS = {  # type: dict
    10: ("more_inputs", MORE_INPUTS),
    11: ("receiver_sentence", RECEIVER_SENTENCE),
    12: ("track", TRACK),
}


def join():
    """Adds these messages to the codec; needed on a board, which loads the codec first."""
    from hotfuel_wire import codec, messages

    for number, (name, rows) in ROWS.items():
        if number not in codec.LAYOUTS:
            messages.TYPES[name] = number
            codec.LAYOUTS[number] = codec.Layout(name, number, rows)
