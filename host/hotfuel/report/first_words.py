"""What to try first, in sentences: the fixes by groups, and those whose effect is unknown."""

from collections.abc import Sequence

from hotfuel.places import place_words
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.first import UNKNOWN, WORTH_DEGC, Tried, helps
from hotfuel.text import directed, is_nothing
from hotfuel.units import Shown


def sentences(tried: Sequence[Tried], shown: Shown) -> list[str]:
    """What to try first, one line a fix by groups, and the fixes whose effect is unknown."""
    lines, last = [], 0
    for one in tried:
        if one.group != last:
            lines.append(_heading([other for other in tried if other.group == one.group]))
            last = one.group
        lines.append(f"  {line(one, shown)}")
    lines.append("Of these nothing is known here:")
    lines += [f"  {name} ({fuss}): {why}" for name, fuss, why in UNKNOWN]
    return lines


def _heading(group: Sequence[Tried]) -> str:
    """The heading of a group: whether to try it first, and whether its fixes can be told apart."""
    several, best = len(group) > 1, group[0].group == 1
    if best and not helps(group):
        return "None of the fixes that can be forecast here gives more room to boiling:"
    if best:
        names = ", ".join(one.fix.change.name for one in group)
        return f"{try_one(group)}: {names}." if several else f"Try first: {names}."
    which = f"Group {group[0].group}, {'after those' if helps(group) else 'which gives no more room'}"
    return f"{which}: these cannot be told apart here" if several else which


def try_one(group: Sequence[Tried]) -> str:
    """The answer where several fixes are the best."""
    return f"Try first one of these {_number(len(group))}; they cannot be told apart here"


def _number(count: int) -> str:
    return ("two", "three", "four", "five", "six", "seven", "eight", "nine")[count - 2] if 2 <= count <= 9 else str(count)


def line(one: Tried, shown: Shown) -> str:
    """A fix in one line."""
    gain = one.told.smallest
    assert gain is not None
    where = f"; the smallest margin is at the {place_words(gain.place)} then ({gain.phase})"
    carried = f"; most of the doubt is {gain.degc.carried_by}" if gain.degc.carried_by and gain.degc.half >= 0.5 else ""
    pull = ""
    if one.told.in_pull is not None:
        pull = f"; carburettor in a pull {interval(one.told.in_pull.degc, shown, ('cooler', 'hotter'))}"
    return f"{one.fix.change.name}: {interval(gain.degc, shown, ('more room', 'less room'))}{where}{pull}{carried}. {one.fix.fuss} ({one.fix.basis})"


def interval(degc: Interval, shown: Shown, words: tuple[str, str]) -> str:
    """A gain with its interval, at the precision of its doubt, with words for its sign. Example: "4 °C more room (1 to 7 °C)"."""
    if abs(degc.middle) < 0.05 and degc.half < WORTH_DEGC:
        return f"no {words[0]}"
    flip = -1 if degc.middle < 0 else 1
    least, greatest = sorted((flip * degc.least, flip * degc.greatest))
    text = [shown.no_finer(x, "temperature difference", degc.half) for x in (abs(degc.middle), least, greatest)]
    if is_nothing(text[0]):  # what rounds to 0 has no direction, but its ends have
        ends = [
            directed(shown.no_finer(abs(x), "temperature difference", degc.half), words[0 if x > 0 else 1], "no change")
            for x in (degc.least, degc.greatest)
        ]
        return f"no change ({ends[0]} to {ends[1]})"
    return f"{text[0]} {words[0 if flip > 0 else 1]} ({text[1].split()[0]} to {text[2]})"
