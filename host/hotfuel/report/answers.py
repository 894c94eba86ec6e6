"""The first page of a comparison: the answer to each question as one sentence, all in the same size whatever they say, and what to do next."""

from collections.abc import Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import compare_notes
from hotfuel.report.words import rough
from hotfuel.study.drive.phases import LAP
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.fixes.summaries import MARGIN
from hotfuel.study.power.power import Gain, PowerComparison
from hotfuel.text import directed
from hotfuel.units import Shown


def headlines(result: Comparison | None, power: PowerComparison | None, shown: Shown) -> list[str]:
    """What was asked first, of each variant, then of power; never empty."""
    said = [temperature(answer, result.delta_degc, shown) for answer in result.answers if answer.primary] if result else []
    if result and not said:
        said = ["These runs do not answer what was asked."]
    elif result:  # for some variants: shown as large as the answers, the reason below
        said = [*(f"{compare_notes.no_verdict(one)}." for one in result.unanswered), *said]
    said += [_power(gain) for gain in power.gains] if power else []
    return said or ["There is nothing to compare."]


def temperature(answer: Answer, delta_degc: float, shown: Shown) -> str:
    """One answer about temperature or room to boiling. No number is finer than half its interval."""
    margin = answer.cell.quantity == MARGIN
    at = f"at the {place_words(answer.cell.place)}" + (" on the lap" if answer.cell.phase == LAP else "")
    name = answer.variant[:1].upper() + answer.variant[1:]
    known = np.isfinite(answer.low_degc)
    doubt = (answer.high_degc - answer.low_degc) / 2 if known else np.nan

    def size(degc: float) -> str:
        return rough(shown, abs(degc), doubt if known else 1.0)

    better, worse = ("more room", "less room") if margin else ("cooler", "hotter")
    if answer.verdict in (verdicts.LOWER, verdicts.HIGHER):
        near, far = sorted((abs(answer.low_degc), abs(answer.high_degc)))
        helped = answer.verdict == verdicts.sides(answer.cell.better)[0]
        span = f"between {size(near)} and {size(far)}"
        if margin:
            return f"{name} left {size(answer.difference_degc)} {better if helped else worse} to boiling {at} than {answer.baseline}, {span}."
        return f"{name} {'lowered' if helped else 'raised'} the fuel {at} by {size(answer.difference_degc)}, {span}."
    if answer.verdict == verdicts.NO_DIFFERENCE:
        return f"{name} made no difference worth having {at}: less than {shown.text(delta_degc, 'temperature difference', 0)} either way."
    if answer.verdict == verdicts.UNDECIDED and known:
        ends = sorted(answer.cell.better * degc for degc in (answer.low_degc, answer.high_degc))
        told = [directed(size(end), better if end > 0 else worse, "no change") for end in ends]
        return f"Whether {answer.variant} helped {at} is undecided: anything from {told[0]} to {told[1]} fits these runs."
    if answer.verdict == verdicts.DESCRIBED:
        return f"Whether {answer.variant} helped {at} is not known: too few runs to test it."
    return f"Whether {answer.variant} helped {at} cannot be told from these runs."


def _power(gain: Gain) -> str:
    name = gain.variant[:1].upper() + gain.variant[1:]
    if gain.verdict in (verdicts.LOWER, verdicts.HIGHER):
        more = "more" if gain.gain_percent > 0 else "less"
        near, far = sorted((abs(gain.low_percent), abs(gain.high_percent)))
        beyond = "; that is more than cooler fuel can do" if gain.implausible else ""
        return f"{name} made {abs(gain.gain_percent):.1f} % {more} power than {gain.baseline}, between {near:.1f} and {far:.1f} %{beyond}."
    if gain.verdict == verdicts.NO_DIFFERENCE:
        return f"{name} made no difference to power worth having against {gain.baseline}."
    if gain.verdict == verdicts.UNDECIDED and np.isfinite(gain.low_percent):
        ends = [
            directed(f"{abs(end):.1f} %", "more" if end > 0 else "less", "no change")
            for end in (gain.low_percent, gain.high_percent)
        ]
        return f"Whether {gain.variant} changed power is undecided: anything from {ends[0]} to {ends[1]} fits these pulls."
    return f"Whether {gain.variant} changed power cannot be told from these pulls."


def next_steps(result: Comparison | None, power: PowerComparison | None, order: Sequence[str]) -> list[str]:
    """What to do after reading the answers."""
    primary = [answer for answer in result.answers if answer.primary] if result else []
    words = {answer.verdict for answer in primary} | ({gain.verdict for gain in power.gains} if power else set())
    steps = []
    if any(answer.verdict == verdicts.sides(answer.cell.better)[0] for answer in primary):
        steps.append("Under these conditions the measurement supports keeping what helped.")
    if any(answer.verdict == verdicts.sides(answer.cell.better)[1] for answer in primary):
        steps.append("Under these conditions the measurement speaks against what made it worse.")
    if verdicts.NO_DIFFERENCE in words:
        steps.append("Where nothing changed, look for where the fuel takes up its heat, and try there.")
    if words - set(verdicts.DECIDED) or not words:
        by_turns = f" in this order: {', '.join(order)}" if order else ", alternating the sides"
        steps.append(f"{'Drive more runs' if result else 'Make more pulls'}{by_turns}; then compare all of them.")
    return steps or ["Another car, another fuel or a hotter day needs runs of its own."]
