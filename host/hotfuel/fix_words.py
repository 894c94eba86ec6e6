"""The words by which a person names a fix, what kind each is, and which of them say that it is not there: the one rule, for a comparison's question, for
what a session or a car file says is fitted, and for a session that was cooled."""

import re
from collections.abc import Iterable

# The order matters: a fan-blown cooler is a cooler, an ice can in the return line is an ice can.
FIX_WORDS: dict[str, tuple[str, ...]] = {
    "ice": ("ice", "iced", "cool can"),
    "cooler": ("cooler", "chiller", "heat exchanger"),
    "spray": ("spray", "sprayed"),
    "spacer": ("spacer", "phenolic"),
    "shield": ("shield", "shielded", "heat shield"),
    "insulation": ("insulation", "insulated", "sleeve", "sleeved", "wrap", "wrapped"),
    "return": ("return", "return line"),
    "fan": ("fan", "fan run-on"),
    "pump": ("pump",),
    "fuel": ("fuel", "gasoline", "petrol"),
}
COOLING = frozenset({"ice", "cooler", "spray"})  # they may make fuel colder than all that is about it

# All of these read text whose white space is single spaces, each in a time that grows with its length alone.
_BETWEEN = re.compile(r"( ?[,;+&] ?| (?:and|or|nor|but) )")  # two parts
_LIST = "without|instead of|in place of"
_NOT = f"{_LIST}|no|not|none|never|neither"  # what follows is not there
_STATE = r"(?:not|never|no longer|n't)(?: yet| been| being)? (?:fitted|connected|installed|added|mounted|used|in use|there|on$)"  # "cooler not fitted"
_TURN = re.compile(rf"(?:^|\b(?!{_STATE}\b))\b(?!no\.? ?\d)({_NOT}|with|now)\b")  # but "fix no. 3"
_GONE = re.compile(
    rf"\bremoved\b|\btaken (?:out|away)\b|(?<![\w-])off\b|\b(?:disconnected|bypassed)\b|(?:\b|(?<=\w)(?=n')){_STATE}\b"
)
_THERE = re.compile(r"\b(?:fitted|added|installed|kept|on)\b")
_INSTEAD = re.compile(
    r"(?:^|(?<=[;.] ))((?:instead|in place) of (?:(?:an?|the|new) )*+[^,;:.]+?)(?: ?[,:] ?| (?=(?:an?|new) ))"
)  # "... the cooler an ice can"
_OFF_ON = re.compile(
    r"(?<![\w-])(off|removed) (?=(?!the |an? )(?:[\w-]++ ){1,3}(?:on|fitted|installed)(?:$| ?[,;.]))"
)  # "hood off cooler on"


def parts_of(text: str) -> list[tuple[str, bool]]:
    """Each part that a text names, in its words, and whether it is there.

    What follows "without" is a list of what is not there, up to "with" or "but"; so is what follows "no", which no comma continues unless an "or" does.
    Example: parts_of("without cooler and shield, with sleeve") -> [("cooler", False), ("shield", False), ("sleeve", True)].
    """
    text = " ".join(text.casefold().replace("_", " ").replace("\N{RIGHT SINGLE QUOTATION MARK}", "'").split())
    text = _OFF_ON.sub(r"\1; ", _INSTEAD.sub(r"\1; ", re.sub(r"\bw/o\b", "without", text)))
    pieces = ["", *_BETWEEN.split(text)]
    found: list[tuple[str, bool]] = []
    joined: list[str] = []  # what stands before each part
    lead = ""  # the word that says that what follows is not there
    for number in range(0, len(pieces), 2):
        between, words = pieces[number].strip(), pieces[number + 1].strip()
        if lead and not _goes_on(lead, between, words, (pieces[at] for at in range(number + 2, len(pieces), 2))):
            lead = ""
        part = ""
        for token in [*_TURN.split(words), ""]:
            turns = re.fullmatch(_NOT, token) or (lead and token in ("with", "now"))
            if (turns or not token) and part.strip():
                found.append((part.strip(), not lead and not _GONE.search(part)))
                joined.append(between)
                part = between = ""
            lead = lead if not turns else token if re.fullmatch(_NOT, token) else ""
            part += "" if turns else token
    closed: re.Match[str] | None = None  # what closes a list: "cooler, shield and sleeve removed"
    for number in range(len(found) - 1, 0, -1):
        (before, is_there), joint = found[number - 1], joined[number]
        if joint in ("and", "or", "&", "+"):
            closed = closed or _GONE.search(found[number][0])
        elif joint != ",":
            closed = None
        if not is_there or _THERE.search(before):
            closed = None
        if closed:
            found[number - 1] = f"{before} {closed[0]}", False
    return found


def _goes_on(lead: str, between: str, words: str, later: Iterable[str]) -> bool:
    """Whether a list of what is not there goes on with these words."""
    if _THERE.search(words):
        return False
    if between in (";", "but"):
        return False
    if re.fullmatch(_LIST, lead) or between in ("or", "nor"):
        return True
    if between == ",":
        return next((one.strip() for one in later if one.strip() not in (",", "")), "") in ("or", "nor")
    return not re.match(r"(?:an?|the|new)\b", words)


def kinds_of(words: str) -> tuple[str, ...]:
    """All the kinds of fix that a text names as there. Example: kinds_of("ice can in the return, no shield") -> ("ice", "return")."""
    return _named("; ".join(part for part, is_there in parts_of(words) if is_there))


def kinds_gone(words: str) -> tuple[str, ...]:
    """All the kinds of fix that a text names as not there. Example: kinds_gone("ice can, heat shield removed") -> ("shield",)."""
    return _named("; ".join(part for part, is_there in parts_of(words) if not is_there))


def _named(text: str) -> tuple[str, ...]:
    return tuple(
        name
        for name, known in FIX_WORDS.items()
        if any(re.search(rf"(?<!non-)\b{re.escape(w)}\b(?!-free\b)", text) for w in known)
    )


def names_cooling(words: str) -> bool:
    """Whether a text names a fix that cools fuel. Example: names_cooling("ice can") -> True; names_cooling("coolant hose") -> False."""
    return not COOLING.isdisjoint(kinds_of(words))
