"""What a reader of a comparison must know of its probes, in sentences and the reader's units."""

from collections.abc import Callable, Iterable

from hotfuel.places import place_words, probe_of
from hotfuel.study.fixes import probe_notes as p
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.temperature import trust
from hotfuel.text import Size, between, listed
from hotfuel.units import Shown


def note(one: p.ProbeNote, shown: Shown) -> str:
    """What a reader must know of a probe, a sentence or two."""
    match one:
        case p.ColdReadingOff(sessions, place, off_degc, tank):
            read = (
                f"{_named(sessions)} read {_sizes(off_degc, shown, _more)} at the {place_words(place)} than at the other places"
            )
            if tank:
                return (
                    f"{read}, which were cold: a tank follows the air slowly and may truly have been {_warmer(off_degc)}, or its probe may be off "
                    "by as much; between sides either drops out only as long as it stays so."
                )
            return (
                f"{read} while all were cold: what {'it shows' if len(sessions) == 1 else 'they show'} there may be off by as much; "
                "between sides that drops out only as long as it stays so."
            )
        case p.PerhapsHigh(sessions, place, over_degc, beside, other, _):
            cold = listed([place_words(name) for name in beside])
            return (
                f"{_named(sessions)} began with the {place_words(place)} {_sizes(over_degc, shown, lambda _: 'warmer')} than the outside air and the {cold} as "
                f"cold as the air, which no run with {other} did: either the {place_words(place)} was still warm from the run before or from the sun, or its "
                "probe reads high. None to all of that may be in the difference, which the interval allows for; begin a run of each side with the car cold."
            )
        case p.SensorsDiffered(first, second, place):
            return f"{first} and {second} were not read with the same probe and calibration at {place}: its uncertainty is in the interval."
        case p.ProbeMoved(first, second, place, by_degc):
            return (
                f"Cold, with all places at one temperature, the probe at the {place_words(place)} read {_size(by_degc, shown)} {_more(by_degc)} "
                f"beside the others with {second} than with {first}: that may be all there is to the difference, and the interval allows for it."
            )
        case p.ProbeOffOnOneSide(seen, unseen, place, off_degc):
            return (
                f"Cold, the probe at the {place_words(place)} read {_size(off_degc, shown)} apart from the others with {seen}, and no run "
                f"with {unseen} began cold to show whether it did there, too: the interval allows for all of it; begin a run of each side cold."
            )
        case p.PerhapsNotRead(sessions, _, place, why):
            return (
                f"{_named(sessions)} may not have read the fuel at the {place_words(place)}: its probe's reading was suspect ({trust.PERHAPS[why]}). "
                "It counts all the same; warm the probe's tip by hand, its reading must rise."
            )


def rests_on(result: Comparison, answers: Iterable[Answer], shown: Shown) -> list[str]:
    """Of each probe that may read wrong and on which one of these answers rests, a sentence to follow them."""
    said = [
        f"That rests on the probe at the {place_words(one.place)}, {_which(one, shown)}"
        for answer in answers
        for one in _in_doubt(result, answer)
    ]
    return list(dict.fromkeys(said))


def steps(result: Comparison, answers: Iterable[Answer]) -> list[str]:
    """What to do about these probes before anything is kept for their sake."""
    places = dict.fromkeys(probe_of(answer.cell.place) for answer in answers if is_in_doubt(result, answer))
    return [
        f"Check the probe at the {place_words(place)} in ice water and in boiling water before you rely on this."
        for place in places
    ]


def is_in_doubt(result: Comparison, answer: Answer) -> bool:
    """Whether the answer rests on a probe that may read wrong."""
    return bool(_in_doubt(result, answer))


_Doubted = p.ProbeMoved | p.ProbeOffOnOneSide | p.PerhapsHigh | p.PerhapsNotRead


def _in_doubt(result: Comparison, answer: Answer) -> list[_Doubted]:
    """The notes on probes that concern the answer's place and one of its sides; what is alike on both sides drops out of a difference."""
    sides, place = {answer.variant, answer.baseline}, probe_of(answer.cell.place)
    return [
        one
        for one in (*result.conditions, *result.cautions)
        if isinstance(one, _Doubted) and probe_of(one.place) == place and _sides(one) <= sides
    ]


def _sides(one: _Doubted) -> set[str]:
    match one:
        case p.PerhapsHigh():
            return {one.variant, one.other}
        case p.PerhapsNotRead():
            return {one.variant}
        case p.ProbeMoved():
            return {one.first, one.second}
        case p.ProbeOffOnOneSide():
            return {one.seen, one.unseen}


def _which(one: _Doubted, shown: Shown) -> str:
    allowed = "the interval allows for it"
    match one:
        case p.PerhapsHigh():
            high = _sizes(one.over_degc, shown, lambda _: "too high")
            return f"which may read {high} in the runs with {one.variant}: {allowed}."
        case p.PerhapsNotRead():
            return f"which may not have read the fuel in {_named(one.sessions)} ({trust.PERHAPS[one.why]}): look at it before you rely on this."
        case p.ProbeMoved():
            by = f"{_size(one.by_degc, shown)} {_more(one.by_degc)}"
            return f"which read {by} beside the others with {one.second} than with {one.first} while all were cold: {allowed}."
        case p.ProbeOffOnOneSide():
            off = _size(one.off_degc, shown)
            return f"which read {off} apart from the others with {one.seen} while all were cold, and was not seen cold with {one.unseen}: {allowed}."


def _size(degc: float, shown: Shown) -> Size:
    return shown.text(abs(degc), "temperature difference")


def _sizes(degc: tuple[float, ...], shown: Shown, sense: Callable[[float], str]) -> str:
    """ "4.0 °C less", or of several runs "between 3.9 °C and 4.1 °C less"."""
    low, high = min(degc), max(degc)
    if _size(low, shown) == _size(high, shown) and low * high > 0:
        return f"{_size(low, shown)} {sense(low)}"
    return between(low, high, lambda one: _size(one, shown), sense)


def _warmer(degc: tuple[float, ...]) -> str:
    return "warmer" if min(degc) > 0 else "colder" if max(degc) < 0 else "warmer or colder"


def _named(names: tuple[str, ...]) -> str:
    """All names, the first three where there are more."""
    return listed([*names[:3], *([f"{len(names) - 3} more"] if len(names) > 3 else [])])


def _more(degc: float) -> str:
    return "more" if degc > 0 else "less"
