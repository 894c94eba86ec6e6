"""The words by which a person names a fix, and what kind each is: the one rule, for a comparison's question and for a session that was cooled."""

import re

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


def kinds_of(words: str) -> tuple[str, ...]:
    """All the kinds of fix that a text names. Example: kinds_of("ice can in the return") -> ("ice", "return")."""
    text = words.casefold().replace("_", " ")
    return tuple(name for name, known in FIX_WORDS.items() if any(re.search(rf"\b{re.escape(w)}\b", text) for w in known))


def names_cooling(words: str) -> bool:
    """Whether a text names a fix that cools fuel. Example: names_cooling("ice can") -> True; names_cooling("coolant hose") -> False."""
    return not COOLING.isdisjoint(kinds_of(words))
