"""The picture of a comparison of power: power and torque of all variants over engine speed, beneath them the gain with its band, on one scale of speed."""

from typing import Any

import numpy as np

from hotfuel.report.chart import FAINT, INK, WIDTH_PX, Chart, Range
from hotfuel.report.figures import COLOURS, DASHES, fit
from hotfuel.report.plots import Plot
from hotfuel.study.power.power import PowerComparison
from hotfuel.text import minus, signed
from hotfuel.units import Shown

HEIGHT_PX, LEAST_PX = 440, 235  # of the whole picture where there is room, and where there is none
_SHARES = {"power": 0.37, "torque": 0.25, "gain": 0.38}  # of what titles and the scale of speed leave
_TITLES_PX = 17 * 3 + 4 * 2 + 18 + 13
_LEAST_GAIN_SPAN = 3.0  # per cent over the lower frame's height, so that 1 % is a third of it at most and never a hair
_MOST_GAIN_SPAN = 12.0


def charts(power: PowerComparison, shown: Shown, height_px: float = HEIGHT_PX, width: int = WIDTH_PX) -> dict[str, Chart]:
    """The frames of the picture from top to bottom, by name: mean lines thick, single pulls thin; gain in per cent of power."""
    name_of = "{}" if width == WIDTH_PX else "card-{}"
    rpm = np.concatenate([curve.rpm for curve in power.curves])
    across = Range(float(rpm.min()), float(max(rpm.max(), rpm.min() + 1)))
    heights = {name: max(int(share * (height_px - _TITLES_PX)), 40) for name, share in _SHARES.items()}
    found = {}
    for dimension in ("power", "torque"):
        unit = shown.unit(dimension)
        drawn = []
        for curve in power.curves:
            kw = [curve.mean_kw, *(curve.each_kw if len(curve.each_kw) > 1 else ())]
            drawn.append(
                [np.asarray(shown.value(one if dimension == "power" else curve.torque_nm(one), dimension)) for one in kw]
            )
        y = fit(*(values for each in drawn for values in each), least_span=1)
        plot = Chart(
            name_of.format(dimension), heights[dimension], across, y, f"{dimension}, {unit}", _alt(power, dimension, shown),
            show_x=False, width=width,
        )  # fmt: skip
        for number, (curve, (mean, *each)) in enumerate(zip(power.curves, drawn, strict=True)):
            look = (4.5, 0.45) if each else (2.0,)
            plot.line(curve.rpm, mean, curve.name, unit, COLOURS[number % 8], DASHES[number % 8], *look)
            for values in each:
                plot.hair(curve.rpm, values, COLOURS[number % 8])
        found[dimension] = plot
    found["gain"] = _gain(power, across, heights["gain"], name_of.format("gain"), width)
    return found


def picture(power: PowerComparison, names: list[str], caption: str) -> Plot:
    """The frames of `charts` under one key: each variant with the number of its pulls in brackets."""
    key: list[dict[str, Any]] = [
        {
            "colour": COLOURS[number % 8],
            "width": 2,
            "dash": " ".join(map(str, DASHES[number % 8])),
            "text": f"{curve.name} ({curve.pulls})",
            "hatch": "",
        }
        for number, curve in enumerate(power.curves)
    ]
    return Plot(names, key, caption)


def _alt(power: PowerComparison, dimension: str, shown: Shown) -> str:
    low, high = (f"{round(end, -1):.0f}" for end in power.band_rpm)
    peaks = "; ".join(
        f"{one.name} up to {shown.text((one.power_kw if dimension == 'power' else one.torque_nm).value, dimension)}"
        for one in power.said
    )
    return f"{dimension.capitalize()} from {low} to {high} rpm: {peaks}."


def _gain(power: PowerComparison, across: Range, height: int, name: str, width: int) -> Chart:
    ends, said = [0.0], []
    for gain in power.gains:
        if np.isfinite(gain.band_low_percent).all():
            ends += [float(gain.band_low_percent.min()), float(gain.band_high_percent.max())]
        least, most = float(np.min(gain.curve_percent)), float(np.max(gain.curve_percent))
        ends += [least, most]
        said.append(f"{gain.variant} over {gain.baseline} between {minus(signed(least))} and {minus(signed(most))} %")
    low, high = min(ends), max(ends)
    if high - low > _MOST_GAIN_SPAN:  # a wide band must not flatten the gain itself
        middle = [float(np.median(gain.curve_percent)) for gain in power.gains]
        low, high = max(low, min([*middle, 0.0]) - _MOST_GAIN_SPAN / 2), min(high, max([*middle, 0.0]) + _MOST_GAIN_SPAN / 2)
    spare = max(_LEAST_GAIN_SPAN - (high - low), 0) / 2 + 0.06 * (high - low)
    plot = Chart(
        name, height, across, Range(low - spare, high + spare), f"gain over {power.baseline}, %",
        f"The gain along the curve: {'; '.join(said)}.", "engine speed, rpm", width=width,
    )  # fmt: skip
    names = [curve.name for curve in power.curves]
    for gain in power.gains:
        colour = COLOURS[names.index(gain.variant) % 8]
        if np.isfinite(gain.band_low_percent).all():
            plot.band(gain.rpm, gain.band_low_percent, gain.band_high_percent, colour, 0.15)
    plot.level(0.0, INK, 1.0)
    plot.level(1.0, FAINT, 0.9, "2 2")
    for gain in power.gains:
        number = names.index(gain.variant) % 8
        plot.line(gain.rpm, gain.curve_percent, gain.variant, "%", COLOURS[number], DASHES[number], 2.0)
    return plot
