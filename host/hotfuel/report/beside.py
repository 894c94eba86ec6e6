"""All variants in one table: the change at each place and phase, power, what each needs, and which may be the best."""

from collections.abc import Mapping

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.report.table import Table
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.power.power import PowerComparison
from hotfuel.text import minus, signed
from hotfuel.units import Shown


def side_by_side(result: Comparison, power: PowerComparison | None, needs: Mapping[str, str], shown: Shown) -> Table:
    """A column for each variant, all against the baseline; what was asked comes first, and only its intervals hold together."""
    table = Table((f"Against {result.baseline}", *result.variants))
    held = {(a.variant, a.cell): a for a in result.answers if a.baseline == result.baseline}
    cells = dict.fromkeys(a.cell for a in sorted(held.values(), key=lambda a: not a.asked) if a.touched)
    for cell in cells:
        told = [_change(held.get((name, cell)), shown) for name in result.variants]
        table.rows.append((f"{place_words(cell.place)}, {cell.phase}: {cell.quantity}", *told))
    if power is not None:
        gains = {gain.variant: f"{minus(signed(gain.gain_percent))} %, {gain.verdict}" for gain in power.gains}
        table.rows.append(("Power", *(gains.get(name, "") for name in result.variants)))
    if needs:
        table.rows.append(("Needs", *(needs.get(name, "") for name in result.variants)))
    if result.best:
        own = f"May be the best ({result.baseline}: {'yes' if result.baseline in result.best else 'no'})"
        table.rows.append((own, *("yes" if name in result.best else "no" for name in result.variants)))
    return table


def _change(answer: Answer | None, shown: Shown) -> str:
    if answer is None:
        return "not compared"
    if not answer.touched:
        return "lies before it"
    text = words.change(answer, shown)
    if answer.verdict not in (verdicts.LOWER, verdicts.HIGHER):
        text += f", {answer.verdict}"
    if not np.isfinite(answer.low_degc):
        return text
    return f"{text}, {'asked' if answer.asked else 'not asked'}"
