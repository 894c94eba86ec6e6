"""The sheet of a comparison of power, with the fuel's temperatures where sessions tell them. Renders what hotfuel.study worked out; tests nothing."""

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from hotfuel import __version__
from hotfuel.report import by_hand, compare_words, html, input_table, power_charts, power_words, sheet, words, written
from hotfuel.report.chart import NARROW_PX, Chart
from hotfuel.report.customer import Report, Sheet
from hotfuel.report.table import Table
from hotfuel.session import Session
from hotfuel.study.drive.phases import PULL
from hotfuel.study.fixes import read_by_hand
from hotfuel.study.fixes.answers import Comparison
from hotfuel.study.power import alike
from hotfuel.study.power.gain import Interval
from hotfuel.study.power.peaks import Peak
from hotfuel.study.power.power import PowerComparison
from hotfuel.text import counted, first_upper, minus, signed
from hotfuel.units import Shown

_CAUTIONS = (
    "Measured on this engine, in this weather, with these pulls. Nothing is promised for another engine, fuel, temperature or altitude.",
    "Beside a running engine on a stand: guards in place, exhaust and vapour drawn off, straps checked, someone at an extinguisher.",
    "Fuel and its vapour catch fire: lines are opened with the engine cold, the pressure let off and the battery disconnected; every joint is checked "
    "for leaks before starting and once more when hot.",
    "Work on fuel and engine is for those licensed to do it, by the rules that apply locally.",
)
_FRAME_PX = 46  # of the picture: key and caption; titles and the scale of speed count in its height
_CARD_PX = 330
_BY_HAND_MOST = 2  # columns of readings by hand that a first page has room for
_METHOD = (  # {start}: the limit at the start, in the reader's unit
    "Pulls are aligned on engine speed in bins of equal width. Pulls are counted, not points, because neighbouring points of one pull are not independent. "
    "Every interval and band is 95 %; the band of the gain holds for the whole curve at once.",
    "With six alternating pulls or more, a straight drift over their order is removed, and so is the effect of a longer pause. An order that lets drift look "
    "like a gain, or one that is not known, gives no verdict; nor do sides that differ in gear, by 10 % in sweep rate, in smoothing, or by {start} at the "
    "start (limits: common practice, no source).",
    "Peaks are those of a running mean over 200 rpm of each pull, then averaged; a peak that stays within 0.5 % over more than that is given as a range.",
    "A gain is said to be low down, in the middle or up top if a test of that third of the curve against the rest shows a quarter more, in per cent and in "
    "power.",
    "What physics allows: charge cooling by an enthalpy balance of the unburnt charge, from the square-root law of the power standards to the ceiling by "
    "density with constant friction; a fixed jet passes denser fuel by the root of its density.",
)


_BY_LOOKS = (
    "A test day: a block holds one pull of each, and after every block the mean difference is held against a limit that no look exceeds by chance in 95 % "
    "of days, over all looks and all pairs together (spending function of Lan and DeMets, limits drawn from the joint distribution of t); intervals "
    "are those of the last look. A straight drift cancels in the mirrored order of the blocks. Sides that differ in gear, by 10 % in sweep rate, in "
    "smoothing, or by {start} at the start give no verdict (limits: common practice, no source)."
)


def write(
    power: PowerComparison,
    path: str | Path,
    degrees: Comparison | None = None,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    units: str | None = None,
    pdf: str | Path | None = None,
    png: str | Path | None = None,
) -> list[Path]:
    """Write the sheet; returns every file written, the page first. degrees, sessions: of the same variants, where there are any. pdf: also print it
    there; png: its card and charts as pictures.

    Raises InputError if a place cannot be written or there is nothing to print with.
    """
    made = make(power, degrees, sessions, units=units)
    return written.write(made, path, Shown(units or power.units), pdf, png)


def render(
    power: PowerComparison,
    degrees: Comparison | None = None,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    units: str | None = None,
) -> str:
    """The page as text."""
    return make(power, degrees, sessions, units=units).page


def make(
    power: PowerComparison,
    degrees: Comparison | None = None,
    sessions: Mapping[str, Sequence[Session]] | None = None,
    *,
    units: str | None = None,
) -> Report:
    """The page with its first page's sheet and its charts."""
    shown = Shown(units or power.units)
    every = [session for group in (sessions or {}).values() for session in group]
    known = {key: value for session in every for key, value in session.metadata.items()}
    others = [gain.variant for gain in power.gains]
    told = [power_words.said(power, gain, shown) for gain in power.gains]
    customer = known.get("customer")
    car = known.get("car") or next((session.car.name for session in every if session.car), "")
    complaint, work_done = sheet.complaint_and_work(known, 0.5)
    first = Sheet(
        compare_words.headlines(None, power, shown),
        kind="Power on the test stand",
        shop=str(known.get("shop") or ""),
        about=[str(car or ""), f"for {customer}" if customer else ""],
        complaint=complaint,
        table=numbers(power, shown, degrees),
        lead=[first_upper(one.headline) for one in told],
        text=[compare_words.finding(degrees, shown, plain=True)] if degrees else [],
        work_done=work_done,
        done=_pulled(power),
        next_steps=compare_words.next_steps(None, power, power.proposed_order),
        conditions=[*sheet.driven(every, shown), *_conditions(power, shown)],
        weakens=power_words.weakens(power),
        cautions=_CAUTIONS,
        **sheet.simulated(every),
    )
    figures = power_charts.charts(power, shown, first.room(power_charts.HEIGHT_PX, power_charts.LEAST_PX, _FRAME_PX))
    first.picture = power_charts.picture(power, list(figures), caption(power))
    values = {
        "sheet": first,
        "simulated": first.simulated,
        "title": f"Power: {', '.join(others)} against {power.baseline}",
        "said": [one.peaks for one in told],
        "gains": _gains(power, shown),
        "told": [sentence for one in told for sentence in one.rest],
        "degrees": [compare_words.answer(one, shown) for one in degrees.answers if one.asked or one.primary] if degrees else [],
        "degrees_cautions": [*compare_words.conditions(degrees, shown), *compare_words.cautions(degrees, shown)]
        if degrees
        else [],
        "wired": input_table.of_variants(sessions or {}, shown),
        "method": [line.format(start=shown.text(alike.START_DEGC, "temperature difference", 0)) for line in _method(power)],
        "read_from": _read_from(power),
        "in_full": sheet.in_full(known, complaint, work_done),
        "version": f"hotfuel {__version__}, {words.today()}",
    }

    def card() -> list[Chart]:
        return list(power_charts.charts(power, shown, _CARD_PX, NARROW_PX).values())

    return Report(html.page("power.html.jinja", figures, values), first, figures, card)


def caption(power: PowerComparison) -> str:
    """What the picture of the curves shows."""
    marked = (
        ""
        if power.absolute_figures_count
        else " Absolute figures are outside the correction's validity; the difference is what counts."
    )
    each = "; thin: each pull" if any(len(curve.each_kw) > 1 for curve in power.curves) else ""
    banded = any(np.isfinite(gain.band_low_percent).all() for gain in power.gains)
    band = "; the shaded band holds for the whole curve at once. Band and ranges are 95 %." if banded else "."
    return f"Thick: mean of the pulls (how many in brackets){each}. Beneath: the gain, dotted line at 1 %{band}{marked}"


def numbers(power: PowerComparison, shown: Shown, degrees: Comparison | None = None) -> Table:
    """Each variant's numbers in one row, and under it the gain in the same columns. degrees: of the same variants; what was read by hand in their pulls
    stands beside."""
    beside = [
        (label, key, dimension)
        for label, key, dimension in (
            ("Fuel", "fuel_degc", "temperature"),
            ("Margin", "margin_degc", "temperature difference"),
            ("Intake air", "intake_degc", "temperature"),
            ("Lambda", "lambda_ratio", ""),
            ("Spark", "spark_deg", ""),
            ("Air flow", "air_flow", ""),
        )
        if any(np.isfinite(getattr(one, key)) for one in power.said)
    ]
    read = read_by_hand.columns(degrees.runs, PULL)[:_BY_HAND_MOST] if degrees else []
    head = (
        *("Variant", "Peak power", "Peak torque", "Mean power"),
        *(label for label, _, _ in beside),
        *(by_hand.heading(column) for column in read),
    )
    table = Table(head, numbers=tuple(range(1, len(head))))
    for one in power.said:
        row = [
            one.name,
            f"{shown.text(one.power_kw.value, 'power')}\n{_speeds(one.power_kw)}",
            f"{shown.text(one.torque_nm.value, 'torque')}\n{_speeds(one.torque_nm)}",
            shown.text(float(np.mean(one.mean_power_kw)), "power"),
        ]
        for _, key, dimension in beside:
            value = getattr(one, key)
            if key == "margin_degc":
                row.append(words.signed(shown, value))
            else:
                row.append(shown.text(value, dimension) if dimension else "–" if np.isnan(value) else f"{value:.3g}")
        for column in read:
            value, count = read_by_hand.of_variant(degrees.runs if degrees else (), one.name, column, PULL)
            row.append(shown.text(value, column.dimension, 0 if column.dimension == "temperature" else None) if count else "–")
        table.rows.append(row)
    for gain in power.gains:
        changes = ((gain.peak_gain_kw, "power"), (gain.peak_gain_nm, "torque"), (gain.mean_gain_kw, "power"))
        cells = [_change(numbers, dimension, shown) for numbers, dimension in changes]
        table.rows.append([f"{gain.variant} over {gain.baseline}", *cells, *[""] * (len(beside) + len(read))])
    return table


def _speeds(peak: Peak) -> str:
    low, high, rpm = (round(speed, -1) for speed in (peak.rpm_low, peak.rpm_high, peak.rpm))
    return f"{low:.0f} to {high:.0f} rpm" if peak.is_flat else f"at {rpm:.0f} rpm"


def _change(numbers: Interval, dimension: str, shown: Shown) -> str:
    if np.isnan(numbers[0]):
        return "not compared"
    value, low, high = (minus(signed(float(shown.value(number, dimension)))) for number in numbers)
    span = f"\n{low} to {high}" if np.isfinite(numbers[1]) else ""
    return f"{value} {shown.unit(dimension)}{span}"


def _gains(power: PowerComparison, shown: Shown) -> Table:
    table = Table(
        ("Variant", "Mean gain", "95 % interval", "Verdict", "Mixture", "What physics allows", "Method"), numbers=(1, 2, 5)
    )
    for gain in power.gains:
        known = np.isfinite(gain.low_percent)
        interval = f"{signed(gain.low_percent, 2)} to {signed(gain.high_percent, 2)} %" if known else "not tested"
        allowed = (
            f"{signed(gain.allowed.allowed_percent[0])} to {signed(gain.allowed.allowed_percent[1])} %"
            if gain.allowed
            else "not known"
        )
        verdict = gain.verdict + (", beyond the fuel's share" if gain.implausible else "")
        method = (
            f"{power_words.method(gain)}, {gain.estimate.degrees_of_freedom:.1f} degrees of freedom"
            if gain.estimate
            else "looks fixed beforehand"
            if known
            else "described only"
        )
        cells = (gain.variant, f"{signed(gain.gain_percent, 2)} %", interval, verdict, gain.mixture, allowed, method)
        table.rows.append([minus(cell) if i in (1, 2, 5) else cell for i, cell in enumerate(cells)])
    return table


def _method(power: PowerComparison) -> tuple[str, ...]:
    """How it was worked out; a test day's verdicts are its looks'."""
    by_looks = any(gain.estimate is None and np.isfinite(gain.low_percent) for gain in power.gains)
    return (_METHOD[0], _BY_LOOKS, _METHOD[2], _METHOD[4]) if by_looks else _METHOD


def _pulled(power: PowerComparison) -> list[str]:
    return [f"{curve.name}: {counted(curve.pulls, 'pull')}{_factor(curve.factor)}" for curve in power.curves]


def driven(power: PowerComparison, shown: Shown) -> list[str]:
    """On which days and in what air the pulls were driven, as their files or a person tell it."""
    lines = []
    if power.days:
        first, last = (datetime.date.fromisoformat(day).strftime("%-d %B %Y") for day in (power.days[0], power.days[-1]))
        lines.append(f"Pulled {words.on_days(first, last)}.")
    else:
        lines.append("The files do not say on which day the pulls were made.")
    if power.air:
        kpa, degc = ([getattr(one, key) for one in power.air] for key in ("pressure_kpa", "temperature_degc"))
        pressure, heat = _ends(kpa, "pressure", shown), _ends(degc, "temperature", shown, 0)
        lines.append(f"Air at the intake: {pressure}, {heat}.")
    return lines


def _ends(values: Sequence[float], dimension: str, shown: Shown, decimals: int | None = None) -> str:
    low, high = (shown.text(end(values), dimension, decimals) for end in (min, max))
    return low if low == high else f"{low} to {high}"


def _conditions(power: PowerComparison, shown: Shown) -> list[str]:
    low, high = (f"{round(end, -1):.0f}" for end in power.band_rpm)
    lines = [*driven(power, shown), *power_words.conditions(power), f"Averages are over {low} to {high} rpm."]
    lines += (
        [f"The order of the pulls: by {by}."] if (by := power_words.order_by(power)) else ["The order of the pulls is not known."]
    )
    return lines


def _factor(factor: float | None) -> str:
    return "" if factor is None else f", corrected by {factor:.3f} on average"


def _read_from(power: PowerComparison) -> Table:
    table = Table(("Pulls", "Read from", "Power over torque × speed"), numbers=(2,))
    for names, check in power.read_from():
        told = power_words.read_from(power, names[0])
        table.rows.append(
            (", ".join(names), "; ".join(told) or "given as numbers", "one column" if np.isnan(check) else f"{check:.3f}")
        )
    return table
