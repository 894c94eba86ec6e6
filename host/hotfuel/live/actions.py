"""What to do in each state: a few words for the far view, one line for a narrow terminal, and the full text with its cautions.

Common practice, no source. For the crew, never for the driver while driving. Nothing here promises anything.
"""

from dataclasses import dataclass

from hotfuel.places import HOSES

SHORT_MAX, BRIEF_MAX = 24, 40  # letters; what fits across a view from afar, and across a terminal of 40 columns


@dataclass(frozen=True)
class Action:
    """short: at most SHORT_MAX letters. brief: at most BRIEF_MAX. whole: sentences."""

    short: str = ""
    brief: str = ""
    whole: str = ""


_HOT_LINES = "Do not open cap, lines or filters while hot: they hold pressure."
_OUTDOORS = "outdoors, no flame or spark near; someone stays with the car."
_FEED = ("tank", "suction", "pump")  # a second pump helps these; the rest have the pump behind them

NOTHING = Action("nothing to do now", "nothing to do now", "Nothing to do now.")
# in place of NOTHING when there is no current reading
UNREAD = Action(
    "no readings: assume hot",
    "no readings: assume the fuel is hot",
    "No readings: what is shown is out of date. Until they are back, assume the fuel is hot.",
)
ENDED = Action(
    "recording has ended",
    "ended: no warning comes from here now",
    "The recording has ended: no warning comes from here any more.",
)
_LOOK = Action(
    "check probe and wire",
    "check probe and wire; assume it is hot",
    "Not read. Stop where it is safe to look at probe and wire; until then assume it is hot.",
)
_UNSTEADY = Action(
    "check plug and wire",
    "check plug and wire; do not rely on it",
    "Read again, but it was lost a moment ago. Stop where it is safe to look at plug, probe and wire; do not rely on it until then.",
)
_DOUBTED = Action(
    "check probe and wire",
    "check probe and wire; assume it is hot",
    "It fell faster than its probe can: a shorted lead reads like this. Stop where it is safe to look at probe and wire; until then assume it is hot.",
)
_STOPPED = Action(
    "switch box off and on",
    "box off and on; assume the fuel is hot",
    "Its amplifier answers and measures nothing new. Stop where it is safe and switch the box off and on; until then assume it is hot.",
)
_PERCOLATION = Action(
    "expect flooded restart",
    "expect a flooded restart; no flame near",
    "Usual on today's fuel after a hot stop: expect a flooded restart, foot down, no pumping. No flame or spark near.",
)
_HELD = Action(
    "key on before cranking",
    "key on before cranking; no flame near",
    "Fuel boils here after a hot stop unless its line has held the pressure: before cranking have the key on for a few seconds, and expect a long crank. "
    "No flame or spark near. " + _HOT_LINES,
)
_HOTTER = Action(
    "give it air outdoors",
    "air outdoors, no flame; open no cap",
    "It is still getting hotter: give it air " + _OUTDOORS + " " + _HOT_LINES,
)
# (state, feed side) -> what to do while the engine runs, or may run
_RUNNING = {
    ("ahead", True): Action(
        "raise idle, second pump",
        "raise idle; second pump or fan on",
        "When standing, raise the idle: fuel that moves stays cooler. Second pump or fan on, if fitted. Plan a stop in the shade.",
    ),
    ("ahead", False): Action(
        "raise idle, fan on",
        "raise idle, fan on; plan a stop in shade",
        "When standing, raise the idle: fuel that moves stays cooler. Fan on, if fitted. Plan a stop in the shade.",
    ),
    ("warn", True): Action(
        "second pump or fan on",
        "second pump or fan on; raise the idle",
        "Second pump or fan on, if fitted. When standing, raise the idle: fuel that moves stays cooler.",
    ),
    ("warn", False): Action(
        "fan on, raise idle",
        "fan on; when standing raise the idle",
        "Fan on, if fitted. When standing, raise the idle: fuel that moves stays cooler.",
    ),
    ("act", True): Action(
        "pull over, second pump",
        "pull over clear of traffic; open no cap",
        "Pull over where it is safe, clear of traffic. Second pump or fan on. " + _HOT_LINES,
    ),
    ("act", False): Action(
        "pull over, fan on",
        "pull over clear of traffic; open no cap",
        "Pull over where it is safe, clear of traffic. Fan on, fast idle. " + _HOT_LINES,
    ),
    ("back", True): Action(
        "keep cooling it",
        "keep pump, fan and idle as they are",
        "Keep doing what helped; it was hot a moment ago. " + _HOT_LINES,
    ),
}
_RUNNING["back", False] = _RUNNING["back", True]
_STANDING = {
    "ahead": _HOTTER,
    "warn": Action(
        "give it air outdoors",
        "air outdoors, no flame; open no cap",
        "Give it air " + _OUTDOORS + " " + _HOT_LINES,
    ),
    "act": Action(
        "wait, do not open cap",
        "wait outdoors, no flame; open no cap",
        "Hard restart to be expected: wait, " + _OUTDOORS + " " + _HOT_LINES,
    ),
    "back": Action(
        "wait, do not open cap",
        "wait a little; do not open the cap",
        "It was hot a moment ago: wait, " + _OUTDOORS + " " + _HOT_LINES,
    ),
}


def action_for(key: str, role: str, standing: bool, read: bool = False, doubted: bool = False, stopped: bool = False) -> Action:
    """key: of live.wording.ORDER. role: of the place in the car file. standing: the engine is known to stand. read, doubted, stopped: of a place whose
    sensor counts as lost, whether there is a reading, whether it is not to be believed, whether its amplifier answers without converting."""
    if key == "quiet":
        return NOTHING
    if key == "lost":
        return _DOUBTED if doubted else _UNSTEADY if read else _STOPPED if stopped else _LOOK
    if key == "note":
        return _HELD if role in HOSES else _PERCOLATION  # of the places in a line only an injected one's has a note
    if standing and key in _STANDING:
        return _STANDING[key]
    return _RUNNING.get((key, role in _FEED), Action())


def every() -> list[Action]:
    """All actions."""
    return [
        NOTHING,
        UNREAD,
        ENDED,
        _LOOK,
        _UNSTEADY,
        _DOUBTED,
        _STOPPED,
        _PERCOLATION,
        _HELD,
        *_RUNNING.values(),
        *_STANDING.values(),
    ]
