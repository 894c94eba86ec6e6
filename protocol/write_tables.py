"""Writes the tables of PROTOCOL.md from messages.py and meanings.py: `python protocol/write_tables.py`.

tests/wire/test_protocol_document.py keeps them equal.
"""

import struct
from pathlib import Path

from hotfuel_wire import meanings, messages, more, status
from hotfuel_wire.kinds import KINDS

DOCUMENT = Path(__file__).parent / "PROTOCOL.md"
BEGIN, END = "<!-- tables: begin -->", "<!-- tables: end -->"


def _rows(name, rows, at, indent=""):
    lines = []
    for field, kind, unit, scale, *default in rows:
        meaning = meanings.FIELDS.get(f"{name}.{field}", "")
        if kind == "group":
            lines.append(f"| {at} | `{field}` | `{unit}` times: | | |")
            lines += _rows(f"{name}.{field}", scale, 0, "+")
            at = "then"
        elif kind == "bytes":
            lines.append(f"| {at} | `{field}` | `{unit}` bytes | | {meaning} |")
            at = "then"
        else:
            shown = "" if unit is None else (unit if scale == 1 else f"{scale} {unit}")
            if default:
                meaning += f" (later; {default[0]} where a payload ends before it)"
            lines.append(f"| {indent}{at} | `{field}` | {kind} | {shown} | {meaning} |")
            at = at + KINDS[kind][1] if isinstance(at, int) else "then"
    return lines


def _listing(head, rows):
    return "\n".join(
        ["| " + " | ".join(head) + " |", "|---" * len(head) + "|", *("| " + " | ".join(map(str, row)) + " |" for row in rows)]
    )


def _numbered(numbers, prose):
    return [(number, f"`{name}`", *prose[name]) for name, number in numbers.items()]


def _status_bits():
    return [
        (name, f"{mask:#04x}", fault.replace("_", " "), "no" if fatal else "yes")
        for name, number in messages.CHIPS.items()
        for mask, fault, fatal in status.FAULT_BITS[number]
    ]


def tables():
    """All tables as one Markdown text."""
    head = ["| byte | field | kind | unit | meaning |", "|---|---|---|---|---|"]
    header_size = sum(KINDS[kind][1] for _, kind, _, _ in messages.HEADER)
    parts = ["### header", meanings.MESSAGES["header"], "\n".join(head + _rows("header", messages.HEADER, 0))]
    for number, (name, rows) in sorted(messages.MESSAGES.items()):
        parts += [f"### {number} {name}", meanings.MESSAGES[name], "\n".join(head + _rows(name, rows, header_size))]
    kinds = ["| kind | bytes | least | greatest |", "|---|---|---|---|"]
    for kind, (letter, size, least, greatest) in KINDS.items():
        assert struct.calcsize("<" + letter) == size, kind
        kinds.append(f"| {kind} | {size} | {'' if least is None else least} | {'' if greatest is None else greatest} |")
    parts += ["### kinds", "Little-endian. The last two are byte strings padded with zeros.", "\n".join(kinds)]
    parts += [
        "### codes",
        "The EMF of a code is that between the probe and the chip's own temperature: add the EMF of the thermocouple type at the cold code's temperature, "
        "then look up the sum (IEC 60584-1, NIST ITS-90).",
        _listing(("chip", "hot code", "cold code"), [(name, *prose) for name, prose in meanings.CODES.items()]),
        "### status bits",
        '"no": the reading has no temperature. Bits not listed do not matter.',
        _listing(("chip", "bit", "fault", "reading can be used"), _status_bits()),
        "### events",
        _listing(("number", "event", "what happened", "`value`", "`detail`"), _numbered(messages.EVENTS, meanings.EVENTS)),
        "### commands",
        _listing(("number", "command", "`argument`", "`answer`"), _numbered(messages.COMMANDS, meanings.COMMANDS)),
    ]
    for title in (
        "OUTCOMES",
        "CHIPS",
        "BAROMETER_CHIPS",
        "MODES",
        "RESET_CAUSES",
        "FITTED",
        "INPUTS",
        "GAP_REASONS",
        "ANCHOR_FLAGS",
    ):
        numbers = getattr(messages, title)
        parts += [f"### {title.lower().replace('_', ' ')}", ", ".join(f"{number} {name}" for name, number in numbers.items())]
    parts += ["### more inputs", ", ".join(f"{number} {name}" for name, number in more.INPUTS.items())]
    return "\n\n".join(parts)


def document():
    """The whole document with fresh tables."""
    text = DOCUMENT.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n\n{tables()}\n\n{END}{after}"


if __name__ == "__main__":
    DOCUMENT.write_text(document(), encoding="utf-8")
