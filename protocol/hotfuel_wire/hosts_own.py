"""The messages that only the host adds to a log, declared as in messages.py and added to it by importing this module before the codec. Not on the board.

tick and time_ms in the header: the last ones seen from the board, else 0.
"""

from hotfuel_wire import messages, more

MARK = (
    ("wall_us", "u64", "us", 1),
    ("text_length", "u8", "B", 1),
    ("text", "bytes", "text_length", None),
)

LINK_GAP = (
    ("wall_us", "u64", "us", 1),
    ("length_ms", "u32", "ms", 1),
    ("bytes_damaged", "u32", "B", 1),
    ("reason", "u8", None, 1),
)

# Begins a log, and each part added by a recording that continued it after a crash. Identifies a log wherever its file is.
# marks_end: without it a reader cannot tell a log cut between two messages from one of a recorder that wrote no end.
LOG_START = (
    ("log_id", "id8", None, 1),
    ("wall_us", "u64", "us", 1),
    ("part", "u16", None, 1),
    ("marks_end", "u8", None, 1, 0),
)

# From a second source beside the board: a satellite receiver's sentence (NMEA 0183), as received. monotonic_us relates it to the anchors.
SENTENCE = (
    ("wall_us", "u64", "us", 1),
    ("monotonic_us", "u64", "us", 1),
    ("text_length", "u8", "B", 1),
    ("text", "bytes", "text_length", None),
)

OWN = {
    65: ("mark", MARK),
    66: ("link_gap", LINK_GAP),
    67: ("log_start", LOG_START),
    68: ("sentence", SENTENCE),
}
# Append only, as everywhere.
GAP_REASONS = {"unknown": 0, "port_gone": 1, "silence": 2, "disk_full": 3, "recording_ended": 4, "recorder_stopped": 5}

for rows in (more.ROWS, OWN):
    messages.MESSAGES.update(rows)
    messages.TYPES.update({name: number for number, (name, _) in rows.items()})
