"""Which of the fixes to consider are fitted to the car already, by what its session and its car file say."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from hotfuel.car import Car
from hotfuel.fix_words import kinds_gone, kinds_of, parts_of
from hotfuel.places import place_from_words
from hotfuel.session.recording import Session
from hotfuel.study.fixes.fitted import kind_of, what_and_where
from hotfuel.study.line.first import Fix, Which

VENTS = "vents"  # besides the kinds of `fitted`: one that is only ever proposed
_KIND = {
    Which.SLEEVE: "insulation", Which.SHIELD: "shield", Which.FAN_COOLER: "cooler", Which.WIND_COOLER: "cooler", Which.ICE_CAN: "ice",
    Which.SPACER: "spacer", Which.TANK_PUMP: "pump", Which.NEAR_PUMP: "pump", Which.RETURN: "return",
    Which.FUEL: "fuel",
}  # fmt: skip


@dataclass(frozen=True)
class Present:
    """Those of the fixes that are fitted; kinds: all kinds that are, those without a forecast too; texts: what says so, as a person wrote it."""

    fixes: tuple[Fix, ...] = ()
    kinds: frozenset[str] = frozenset()
    texts: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Part:
    """One fitted part: the kinds its words name, the place just behind it ("" where nobody said), and the words."""

    kinds: tuple[str, ...]
    before: str
    words: str


def present(session: Session, fixes: Sequence[Fix]) -> Present:
    """What is fitted already. A part whose place nobody said counts as fitted at every place: a second one is seldom what helps; one of the car file that
    the session says is not there, at none."""
    car, noted = session.car, session.metadata
    said = str(noted.get("fix") or "")
    there = [(said, part) for part in _parts(said, str(noted.get("before") or ""))]
    if car is not None:
        gone = kinds_gone(said)
        there += [(car.fix or "", part) for part in _parts(car.fix or "", car.before or "") if part.kinds[0] not in gone]
    found = tuple(fix for fix in fixes if any(_is(fix, part, car) for _, part in there))
    kinds = frozenset(kind_of(part.words) or VENTS for _, part in there)
    return Present(found, kinds, tuple(dict.fromkeys(text.strip() for text, _ in there)))


def _parts(text: str, before: str) -> list[_Part]:
    parts = []
    for words, is_there in parts_of(text):
        if not is_there:
            continue  # "heat shield removed", "no cooler"
        kinds = kinds_of(words) or ((VENTS,) if re.search(r"\b(vents?|louv\w+)\b", words.casefold()) else ())
        where = what_and_where(words)[1] or before
        if kinds:
            parts.append(
                _Part(kinds, "return" if "in the return" in words else place_from_words(where) if where else "", words.casefold())
            )
    return parts


def _is(fix: Fix, part: _Part, car: Car | None) -> bool:
    """Whether a fix to consider is that part."""
    if fix.which is Which.FUEL:  # what the tank holds is in the car file, whatever a note calls it
        return False
    if fix.which is Which.RETURN:  # whatever sits in a return, there is one
        return "return" in part.kinds
    if part.kinds[0] != _KIND[fix.which]:
        return False
    if fix.which is Which.TANK_PUMP:
        return ("tank" in part.words or "electric" in part.words) and "near" not in part.words
    if fix.which is Which.NEAR_PUMP:
        return "tank" in part.words or "electric" in part.words
    if fix.which is Which.SPACER:  # the one considered sits under the pump
        roles = {p.name: p.role for p in car.places} if car is not None else {}
        return "carb" not in part.words and roles.get(part.before, "pump") in ("pump", "suction")
    return part.before in ("", fix.before)
