"""The lamp's pattern, read at its pin: the patterns are typed from hardware/LAMP.md, the card for the driver."""

import itertools

from emulated.board import EmulatedBoard

# ms lit and dark, alternating
PATTERNS = {
    "act": (200, 200),
    "warn": (900, 600),
    "lost": (120, 280, 120, 280, 120, 2080),
    "failed": (900, 300, 120, 1680),
    "no_limits": (120, 280, 120, 2480),
    "alive": (60, 2940),
    "prompt": (1750, 250),
}
LAMP_WITHIN_MS = 45  # the main loop runs every 20 ms
LOOKED_S = 6.2


def shown(board: EmulatedBoard, seconds: float = LOOKED_S) -> str:
    """The pattern at the lamp's pin over so many seconds: a name of LAMP.md, or the times, in ms, where none fits."""
    board.lamp.clear()
    board.run(seconds)
    edges = board.lamp
    times = [(after - before) / 1000 for (before, _), (after, _) in itertools.pairwise(edges)]
    lit_first = bool(edges) and edges[0][1]
    if not lit_first:
        times = times[1:]
    for name, pattern in PATTERNS.items():
        for start in range(0, len(pattern), 2):
            turned = pattern[start:] + pattern[:start]
            expected = [turned[at % len(pattern)] for at in range(len(times))]
            if len(times) >= 2 and all(abs(t - e) <= LAMP_WITHIN_MS for t, e in zip(times, expected, strict=True)):
                return name
    return f"{[round(t) for t in times]}"
