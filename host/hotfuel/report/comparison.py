"""The report of a comparison: what a fix did for temperature, for power, or both on one sheet. Renders the results of hotfuel.study; tests nothing."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from hotfuel import __version__
from hotfuel.report import (
    before_after,
    beside,
    compare_notes,
    compare_words,
    complaint_words,
    html,
    input_table,
    power_charts,
    power_words,
    pull_figures,
    pull_table,
    run_table,
    sheet,
    stops,
    study_figures,
    words,
    written,
)
from hotfuel.report.chart import NARROW_PX, Chart
from hotfuel.report.comparison_method import DYNO_CAUTION, POWER_METHOD, TEMPERATURE_METHOD
from hotfuel.report.customer import Report, Sheet
from hotfuel.report.plots import Plot
from hotfuel.report.power import caption, driven, numbers
from hotfuel.report.session_notes import all_notes
from hotfuel.report.table import Table
from hotfuel.session import Session
from hotfuel.study.evidence import verdicts
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.fixes.summaries import MARGIN
from hotfuel.study.power.power import PowerComparison
from hotfuel.text import listed, minus, signed
from hotfuel.units import Shown


def write(
    result: Comparison | None,
    path: str | Path,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    power: PowerComparison | None = None,
    needs: Mapping[str, str] | None = None,
    units: str | None = None,
    pdf: str | Path | None = None,
    png: str | Path | None = None,
) -> list[Path]:
    """Write the report of a comparison of temperatures, of power, or of both; returns every file written, the page first.

    sessions: the variants' sessions, for what the sheet says of customer, work and fuel. units: "si" (default) or "us". pdf: also print it there;
    png: its card and charts as pictures.
    Raises InputError if a place cannot be written or there is nothing to print with.
    """
    made = make(result, sessions, power=power, needs=needs, units=units)
    return written.write(made, path, Shown(units or "si"), pdf, png)


def render(
    result: Comparison | None,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    power: PowerComparison | None = None,
    needs: Mapping[str, str] | None = None,
    units: str | None = None,
) -> str:
    """The page as text."""
    return make(result, sessions, power=power, needs=needs, units=units).page


def make(
    result: Comparison | None,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    power: PowerComparison | None = None,
    needs: Mapping[str, str] | None = None,
    units: str | None = None,
) -> Report:
    """The page with its first page's sheet and its charts."""
    every = [session for group in (sessions or {}).values() for session in group]
    shown = Shown(units or "si")
    known = {key: value for session in every for key, value in session.metadata.items()}
    figures: dict[str, Any] = {}
    names = [result.baseline, *result.variants] if result else [curve.name for curve in power.curves] if power else []
    cars = sorted({run.car for run in result.runs if run.car}) if result else []
    judged = [" ".join(complaint_words.judgement(one, shown, plain=True)) for one in result.judgements] if result else []
    complaint, work_done = sheet.complaint_and_work(known, 1.0 if not (result and power) else 0.25 if judged else 0.5)
    customer = known.get("customer")
    table = numbers(power, shown, result) if power else None
    few = power is not None and len(power.gains) <= 1  # more variants' rows leave no room for the rest of the customer's page
    first = Sheet(
        compare_words.headlines(
            result, power, shown, [before_after.still_boiling(one) for one in result.judgements] if result else ()
        ),
        shop=str(known.get("shop") or ""),
        about=[str((cars[0] if cars else None) or known.get("car") or ""), f"for {customer}" if customer else ""],
        complaint=complaint,
        table=table if few else None,
        text=[
            *([compare_words.finding(result, shown, plain=True)] if result else []),
            *([power_words.finding(power, shown)] if power else []),
            *judged,
        ],
        work_done=work_done,
        done=_variants(result, power),
        next_steps=compare_words.next_steps(result, power, _order(result, power)),
        conditions=[*sheet.driven(every, shown), *_conditions(result, power, shown)],
        reasons=[*_reasons(result), *map(compare_notes.unanswered, result.unanswered)] if result else (),
        weakens=[
            *(_weakens(result, shown) if result else ()),
            *(power_words.weakens(power) if power else ()),
        ],
        cautions=[*words.CAUTIONS[:2], *([DYNO_CAUTION] if power else []), *words.CAUTIONS[2:]],
        **sheet.simulated(every),
    )
    places = []
    if result and result.judgements:
        asked = next((answer.cell.place for answer in result.answers if answer.primary), result.primary.place)
        first.headlines = [*(before_after.headline(one) for one in result.judgements), *first.headlines]
        places = [(one.variant, before_after.table(before_after.pairs(one, asked), shown)) for one in result.judgements]
        if len(places) == 1 and first.table is None:  # more variants' rows stand in the technical part
            first.table = places.pop()[1]
    if result:
        height = study_figures.runs_px(result)
        first.room(height, height)
        figures["runs"] = study_figures.runs(result, shown)
        first.picture = Plot(["runs"], [], study_figures.runs_caption(result))
    said = [power_words.said(power, gain, shown) for gain in power.gains] if power else []
    values = {
        "title": "With and without: " + ", ".join(names),
        "sheet": first,
        "simulated": first.simulated,
        "in_full": sheet.in_full(known, complaint, work_done),
        "places": places,
        "held": stops.held(result.judgements, shown) if result else None,
        "notes": _notes(every, shown),
        "numbers": table if not few else None,
        "order": ", ".join(_order(result, power)),
        "technical": _technical(result, power, figures, shown),
        "pulls": pull_table.variants(result.pulls, shown) if result else None,
        "wired": input_table.of_variants(sessions or {}, shown),
        "beside": beside.side_by_side(result, power, needs or {}, shown) if result else None,
        "answers": _answers(result, shown, True) if result else None,
        "beyond": _answers(result, shown, False) if result and not all(a.touched for a in result.answers) else None,
        "runs": run_table.table(result, shown) if result else None,
        "gains": _gains(power) if power else None,
        "gain_sentences": [line for one in said for line in (one.peaks, *one.rest)],
        "mapping": _read_from(power) if power else [],
        "method": [*(TEMPERATURE_METHOD if result else ()), *(POWER_METHOD if power else ())],
        "version": f"hotfuel {__version__}, {words.today()}",
    }

    def card() -> list[Chart]:
        return [study_figures.runs(result, shown, NARROW_PX)] if result else []

    return Report(html.page("comparison.html.jinja", figures, values), first, figures, card)


def _reasons(result: Comparison) -> list[str]:
    """Why the questions asked have no verdict, where the order of the runs is why."""
    return list(dict.fromkeys(reason for a in result.answers if a.primary and (reason := compare_words.reason(a))))


def _weakens(result: Comparison, shown: Shown) -> list[str]:
    """What weakens the finding; the reason why there is no verdict comes first, because a short list ends early."""
    return [*_reasons(result), *compare_words.bad_runs(result, shown), *compare_words.cautions(result, shown)]


def _conditions(result: Comparison | None, power: PowerComparison | None, shown: Shown) -> list[str]:
    lines = []
    if result:
        lines += compare_words.questions(result, plain=True)
        lines += compare_words.conditions(result, shown, plain=True) or [
            "No difference in the conditions was found among those that are recorded."
        ]
    if power:
        corrected = [curve.name for curve in power.curves if curve.factor is not None]
        weather = (
            f"corrected by {power.standard} from the weather given"
            if corrected
            else "as the files have them; no weather was given"
        )
        lines += [*driven(power, shown), f"Power figures are {weather}."]
    return lines


def _notes(sessions: Sequence[Session], shown: Shown) -> list[str]:
    """What is missing in the sessions, and their fuel, each session once."""
    unique = {id(session): session for session in sessions}.values()
    lines = [f"{session.name}: {note}" for session in unique for note in all_notes(session, shown)]
    fuels = [sentence for session in unique if session.car is not None for sentence in session.fuel.describe(shown)[:1]]
    return list(dict.fromkeys([*lines, *fuels]))


def _technical(result: Comparison | None, power: PowerComparison | None, figures: dict[str, Any], shown: Shown) -> list[Plot]:
    plots = []
    if power:
        curves = power_charts.charts(power, shown)
        figures.update(curves)
        plots.append(power_charts.picture(power, list(curves), caption(power)))
    if result:
        drawn = study_figures.worth_drawing(result.answers)
        if drawn:
            figures["intervals"] = study_figures.intervals(drawn, result.delta_degc, shown)
            plots.append(
                Plot(
                    ["intervals"],
                    [],
                    "Differences with their 95 % intervals: what was asked first, then the largest of what else was seen. A difference inside the grey stretch "
                    "is not worth having.",
                )
            )
        if place := pull_figures.place_of(result.pulls):
            figures["variant-pulls"] = pull_figures.of_variants(result.pulls, place, shown)
            laid = [one.overlays[place] for one in result.pulls]
            plots.append(
                Plot(
                    ["variant-pulls"],
                    pull_figures.key(result.pulls),
                    f"Full-throttle pulls, as read. {pull_figures.caption(laid)}",
                )
            )
    return plots


def _variants(result: Comparison | None, power: PowerComparison | None) -> list[str]:
    parts: dict[str, list[str]] = {}
    for name in (result.baseline, *result.variants) if result else ():
        count = sum(run.variant == name for run in result.runs) if result else 0
        fitted = [listed(result.fitted[name])] if result and name in result.fitted else []
        parts[name] = [*fitted, f"{count} run{'' if count == 1 else 's'}"]
    for curve in power.curves if power else ():
        parts.setdefault(curve.name, []).append(f"{curve.pulls} pull{'' if curve.pulls == 1 else 's'}{_factor(curve.factor)}")
    base = result.baseline if result else power.baseline if power else ""
    others = [name for name in parts if name != base]
    compared = f"; {others[0]} is compared with it" if len(others) == 1 else "; the others are compared with it"
    return [f"{name}: {', '.join(told)}{compared if name == base else ''}" for name, told in parts.items()]


def _factor(factor: float | None) -> str:
    return "" if factor is None else f" (corrected by {factor:.3f})"


def _order(result: Comparison | None, power: PowerComparison | None) -> Sequence[str]:
    return (result.proposed_order if result else ()) or (power.proposed_order if power else ())


def _answers(result: Comparison, shown: Shown, touched: bool) -> Table:
    table = Table(("Variants", "Question", "Difference (95 % interval)", "Verdict", "Method"))
    several = any(answer.level > 0.951 for answer in result.answers)  # asked pairs share 5 %, their intervals hold together
    for answer in [answer for answer in result.answers if answer.touched == touched]:
        told = words.change(answer, shown) + ("" if np.isfinite(answer.low_degc) else ", not tested")
        if several and np.isfinite(answer.low_degc):
            told += ", together" if answer.asked else ", alone"
        question = answer.cell.words() + (" (asked first)" if answer.primary else " (asked)" if answer.asked else "")
        table.rows.append(
            (
                f"{answer.variant} against {answer.baseline}",
                question,
                told,
                _verdict(answer),
                _method(answer),
            )
        )
    return table


def _verdict(answer: Answer) -> str:
    """The verdict, in terms of room where a margin was asked."""
    if answer.cell.quantity != MARGIN:
        return compare_words.verdict(answer)
    return {verdicts.HIGHER: "more room", verdicts.LOWER: "less room"}.get(answer.verdict) or compare_words.verdict(answer)


def _method(answer: Answer) -> str:
    estimate = answer.tested
    return (
        f"{compare_words.method(estimate)}, {estimate.degrees_of_freedom:.1f} degrees of freedom"
        if estimate
        else "described only"
    )


def _gains(power: PowerComparison) -> Table:
    table = Table(("Variant", "Gain", "95 % interval", "Verdict", "Mixture", "Method"), numbers=(1, 2))
    for gain in power.gains:
        known = np.isfinite(gain.low_percent)
        interval = minus(f"{signed(gain.low_percent, 2)} to {signed(gain.high_percent, 2)} %") if known else "not tested"
        table.rows.append(
            (
                gain.variant,
                minus(f"{signed(gain.gain_percent, 2)} %"),
                interval,
                gain.verdict,
                gain.mixture,
                power_words.method(gain) or "described only",
            )
        )
    return table


def _read_from(power: PowerComparison) -> list[str]:
    told = {name: power_words.read_from(power, name) for name in power.mapping}
    return [f"{name}: {', '.join(columns)}" for name, columns in told.items() if columns]
