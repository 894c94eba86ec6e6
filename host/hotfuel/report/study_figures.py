"""Charts of comparisons: runs side by side, differences with their intervals, power over engine speed. They draw what hotfuel.study worked out."""

from collections.abc import Sequence

import numpy as np

from hotfuel.report import words
from hotfuel.report.chart import INK, LEFT_PX, WIDTH_PX, Chart, Range, number_text
from hotfuel.report.figures import ACT, COLOURS, DASHES, Style
from hotfuel.study.fixes.answers import Answer, Comparison
from hotfuel.study.fixes.summaries import MARGIN, has
from hotfuel.units import Shown

ANSWERS_DRAWN = 6
_ROW_PX, _RUNS_ROW_PX = 40, 56
_LETTER_PX, _LETTER_WIDE_PX = 6.4, 10.5  # in a narrow picture; in a wide one on a phone, whose print is larger
_MARKERS = ("circle", "square", "triangle", "diamond", "inverted_triangle", "hex")
# Vertical offsets of the runs of one side, so that equal ones can be told apart; by number, so that a picture is the same every time.
_JITTER = (0.0, 0.12, -0.12, 0.06, -0.06)


def look(number: int) -> tuple[Style, str]:
    """Line style and marker of the n-th variant, the same in every chart. The first, the baseline, has hollow markers, the others filled ones."""
    return Style(COLOURS[number % 8], DASHES[number % 8]), _MARKERS[number % len(_MARKERS)]


def _rows(
    name: str, count: int, x: Range, title: str, alt: str, x_title: str = "", *, row_px: int = _ROW_PX, width: int = WIDTH_PX
) -> Chart:
    return Chart(name, row_px * count + 4, x, Range(-0.4, count - 0.3), title, alt, x_title, show_y=False, width=width)


def runs_px(result: Comparison) -> int:
    """How tall the picture of the runs is at most."""
    return (_RUNS_ROW_PX + 20) * (len(result.variants) + 1) + 4


def runs_caption(result: Comparison) -> str:
    """What the picture of the runs shows."""
    caption = "One marker per run; the bar is their mean."
    if _differences(result):
        caption += (
            f" Dark bar below: 95 % interval of the difference from {result.baseline} (dotted line), outside air "
            "made equal; a bar clear of that line is a difference."
        )
    return caption + (" At the red line no room is left." if result.drawn.quantity == MARGIN else "")


def _differences(result: Comparison) -> dict[str, Answer]:
    """The tested answer of each variant to what is drawn."""
    found: dict[str, Answer] = {}
    for answer in result.answers:
        if answer.cell == result.drawn and answer.baseline == result.baseline and np.isfinite(answer.low_degc):
            found.setdefault(answer.variant, answer)
    return found


def runs(result: Comparison, shown: Shown, width: int = WIDTH_PX) -> Chart:
    """Every run of every variant for the primary question: one row a variant, one marker a run, a bar at the mean, and beneath it the 95 % interval of
    the difference from the baseline's mean."""
    names = [result.baseline, *result.variants]
    is_margin = result.drawn.quantity == MARGIN
    dimension = "temperature difference" if is_margin else "temperature"
    unit = shown.unit(dimension)
    of = {name: [run for run in result.runs if run.variant == name and has(run, result.drawn)] for name in names}
    values = {}
    for name in names:
        degc = np.array([run.values[result.drawn] for run in of[name]])
        values[name] = np.asarray(shown.value(degc, dimension))
    means = {name: float(values[name].mean()) for name in names}
    tested = _differences(result)
    said_beside = {name: words.change(answer, shown, rounded=True) for name, answer in tested.items()}
    heads = {name: f"{name} ({len(values[name])})" for name in names}
    # Names and differences stand above the markers, where no upright passes; where they are too long for a line, in two.
    wide = width == WIDTH_PX
    letters = (width - LEFT_PX) / (_LETTER_WIDE_PX if wide else _LETTER_PX)
    second_px = (20 if wide else 14) * any(len(heads[name]) + len(text) + 2 > letters for name, text in said_beside.items())
    row_px = _RUNS_ROW_PX + second_px
    spans = {}
    for name, answer in tested.items():
        ends = [float(shown.value(degc, "temperature difference")) for degc in (answer.low_degc, answer.high_degc)]
        spans[name] = (means[result.baseline] + min(ends), means[result.baseline] + max(ends))
    # a margin is read against zero
    every = np.concatenate([*values.values(), *(np.array(span) for span in spans.values()), [0.0] if is_margin else []])
    span = max(float(np.ptp(every)), 2.0)
    said = "; ".join(f"{name} {draw_number(means[name])} {unit} in the mean of {len(values[name])}" for name in names)
    said += "".join(f"; {name} {words.change(answer, shown, rounded=True)}" for name, answer in tested.items())
    what = f"{words.cell(result.drawn)}, {unit}" + (" (minus: beyond the limit)" if is_margin else "")
    plot = _rows(
        "runs" if wide else "card", len(names), Range(float(every.min()) - 0.08 * span, float(every.max()) + 0.08 * span), what,
        f"Every run, {words.cell(result.drawn)}: {said}.", row_px=row_px, width=width,
    )  # fmt: skip
    plot.clear = beneath = [(row - 18 / row_px, row + 19 / row_px) for row in range(len(names))]
    if is_margin:
        plot.upright(0.0, ACT, 1.6, spans=beneath)
    if tested:
        plot.upright(means[result.baseline], INK, 1.0, "2 3", spans=beneath)
    for number, name in enumerate(names):
        row = len(names) - 1 - number
        style, marker = look(number)
        plot.box(
            (means[name], means[name] + 3 * (plot.x.high - plot.x.low) / width), (row - 2 / row_px, row + 15 / row_px),
            f"{name}: mean {draw_number(means[name])} {unit} of {len(values[name])} runs", fill=style.colour,
        )  # fmt: skip
        for place, (run, value) in enumerate(zip(of[name], values[name].tolist(), strict=True)):
            tip = f"{name}, {run.name}: {draw_number(value)} {unit}"
            plot.marker(
                value, row + (6 + 56 * _JITTER[place % len(_JITTER)]) / row_px, marker, style.colour, tip, hollow=number == 0
            )
        down = float(plot.py(row + 22 / row_px))
        if name in spans:
            at = row - 13 / row_px
            plot.box(spans[name], (at - 2 / row_px, at + 2 / row_px), f"{name}, difference: {said_beside[name]}", fill=INK)
        if name in spans and second_px:
            plot.label(heads[name], LEFT_PX + 2, down - second_px, look="bold")
            plot.label(said_beside[name], LEFT_PX + 2, down)
        else:
            beside = f": {said_beside[name]}" if name in spans else ""
            plot.label(heads[name] + beside, LEFT_PX + 2, down, look="bold")
    return plot


def draw_number(value: float) -> str:
    """A number of a chart in words: one decimal, a real minus."""
    return number_text(value, 1)


def worth_drawing(answers: Sequence[Answer]) -> list[Answer]:
    """The asked questions first, then the largest differences that are decided; never rows of nothing."""
    tested = [answer for answer in answers if np.isfinite(answer.low_degc) and answer.touched]
    asked = [answer for answer in tested if answer.asked]
    others = [answer for answer in tested if not answer.asked and answer.low_degc * answer.high_degc > 0]
    others.sort(key=lambda answer: -abs(answer.difference_degc))
    return [*asked, *others[: max(ANSWERS_DRAWN - len(asked), 0)]]


def intervals(answers: Sequence[Answer], delta_degc: float, shown: Shown) -> Chart:
    """Differences with their 95 % intervals, a row an answer; to the right is cooler, or more room. The grey stretch is a difference not worth having."""
    dimension = "temperature difference"
    unit = shown.unit(dimension)
    middle, low, high = (
        np.array([answer.cell.better * float(shown.value(getattr(answer, name), dimension)) for answer in answers])
        for name in ("difference_degc", "low_degc", "high_degc")
    )
    low, high = np.minimum(low, high), np.maximum(low, high)
    delta = float(shown.value(delta_degc, dimension))
    known = np.concatenate([middle, low[np.isfinite(low)], high[np.isfinite(high)], [-delta, delta]])
    reach = 1.08 * float(np.abs(known).max())
    said = "; ".join(f"{a.variant} against {a.baseline}, {a.cell.words()}: {words.change(a, shown)}" for a in answers)
    plot = _rows(
        "intervals", len(answers), Range(-reach, reach), f"difference, {unit} (right of zero: cooler, or more room)",
        f"Differences with their 95 % intervals. {said}.",
    )  # fmt: skip
    plot.box((-delta, delta), None, fill=INK, fill_opacity=0.08)
    plot.clear = [(row - 0.35, row + 0.22) for row in range(len(answers))]
    plot.upright(0.0, INK, 1.0, spans=plot.clear)
    for number, answer in enumerate(answers):
        row = len(answers) - 1 - number
        tip = f"{answer.variant}, {answer.cell.words()}: {words.change(answer, shown)}"
        plot.box((float(low[number]), float(high[number])), (row - 0.13, row - 0.07), tip, fill=INK)
        plot.marker(float(middle[number]), row - 0.1, "diamond", INK, tip, hollow=not answer.asked)
        beside = f" against {answer.baseline}" if answer.baseline != answers[0].baseline else ""
        asked = " (asked)" if answer.asked else ""
        plot.label(f"{answer.variant}{beside}: {answer.cell.words()}{asked}", LEFT_PX + 2, float(plot.py(row + 0.3)))
    return plot
