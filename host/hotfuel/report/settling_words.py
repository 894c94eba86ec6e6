"""What was left out after each switch of a session that was cut at its marks, in sentences."""

from collections.abc import Iterable

from hotfuel.places import place_words
from hotfuel.study.line.settling import Settling


def sentences(found: Iterable[Settling]) -> list[str]:
    """What was left out, a sentence a session, and a sentence for each place with too little left."""
    by_session: dict[str, list[Settling]] = {}
    for one in found:
        by_session.setdefault(one.session, []).append(one)
    lines = []
    for name, places in by_session.items():
        told = ", ".join(f"{one.left_out_s:.0f} s at {place_words(one.place)}" for one in places if one.usable)
        if told:
            lines.append(
                f"{name} was cut at its marks; left out after each switch: {told}. What warms or cools more slowly than these readings show still holds "
                "what was before, so the true difference is probably larger."
            )
        lines += [
            f"In {name} {place_words(one.place)} settles in {one.left_out_s / 60:.1f} min after a switch, and the shortest stretch lasts "
            f"{(one.left_out_s + one.left_s) / 60:.1f} min: too little is left of it, so it is not compared; switch less often."
            for one in places
            if not one.usable
        ]
    return lines
