"""The picture of a comparison of power: torque and power of all variants over engine speed, beneath it the gain with its band."""

from typing import Any

import numpy as np
from markupsafe import Markup

from hotfuel.report import svg
from hotfuel.report.chart import FAINT, INK
from hotfuel.report.figures import COLOURS, DASHES
from hotfuel.study.power.power import PowerComparison
from hotfuel.units import Shown

_LEAST_GAIN_SPAN = 3.0  # per cent over the lower picture's height, so that 1 % is a third of it at most and never a hair
_MOST_GAIN_SPAN = 12.0
_SHORT_IN = 3.9  # below, the gain gets a larger share and its axis a shorter name


def chart(power: PowerComparison, shown: Shown, height_in: float = 4.75, name: str = "power") -> Markup:
    """The picture as SVG."""
    return svg.inline(figure(power, shown, height_in), name, words(power, shown))


def figure(power: PowerComparison, shown: Shown, height_in: float = 4.75) -> Any:
    """The drawing: mean lines thick, single pulls thin, power to the left scale and torque to the right; gain in per cent of power."""
    drawing = svg.empty(height_in)
    top, below = drawing.subplots(2, 1, sharex=True, height_ratios=[1.55 if height_in > _SHORT_IN else 1.2, 1])
    torque = top.twinx()
    torque.spines["right"].set_visible(True)
    torque.grid(False)
    for number, curve in enumerate(power.curves):
        look = _look(number)
        for axes, dimension, values, each in (
            (top, "power", curve.mean_kw, curve.each_kw),
            (torque, "torque", curve.torque_nm(curve.mean_kw), curve.torque_nm(curve.each_kw)),
        ):
            for one in each if len(each) > 1 else ():
                axes.plot(curve.rpm, shown.value(one, dimension), color=look["color"], linewidth=0.5, alpha=0.4)
            mean = np.asarray(shown.value(values, dimension))
            axes.plot(curve.rpm, mean, linewidth=1.8 if dimension == "power" else 1.3, **look)
    for axes, dimension in ((top, "power"), (torque, "torque")):
        axes.set_ylabel(f"{dimension}, {shown.unit(dimension)}")
    _apart(top, torque)
    top.tick_params(labelbottom=False)
    _gain(below, power, height_in)
    below.set_xlabel("engine speed, rpm")
    _key(top, power)
    return drawing


def words(power: PowerComparison, shown: Shown) -> str:
    """What the picture shows, from its numbers."""
    low, high = (f"{round(end, -1):.0f}" for end in power.band_rpm)
    peaks = "; ".join(
        f"{one.name} up to {shown.text(one.power_kw.value, 'power')} and {shown.text(one.torque_nm.value, 'torque')}"
        for one in power.said
    )
    gains = "; ".join(
        f"{gain.variant} over {gain.baseline} between {np.min(gain.curve_percent):+.1f} and {np.max(gain.curve_percent):+.1f} %"
        for gain in power.gains
    )
    return f"Power and torque from {low} to {high} rpm: {peaks}. Beneath, the gain along the curve: {gains}."


def _look(number: int) -> dict[str, Any]:
    dash = DASHES[number % 8]
    return {"color": COLOURS[number % 8], "linestyle": (0, tuple(x / 2 for x in dash)) if dash else "solid"}


def _apart(top: Any, torque: Any) -> None:
    """Power in the lower two thirds of the frame and torque in the upper half: two families of lines that cross are hard to read."""
    for axes, low_share, high_share in ((top, 0.04, 0.42), (torque, 0.62, 0.05)):
        low, high = axes.dataLim.intervaly
        span = max(high - low, 1e-6)
        if low_share > 0.5:
            axes.set_ylim(low - span * low_share * 2.2, high + span * high_share * 2)
        else:
            axes.set_ylim(low - span * low_share, high + span * high_share)


def _key(axes: Any, power: PowerComparison) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], linewidth=1.8, **_look(i)) for i in range(len(power.curves))]
    names = [f"{curve.name} ({curve.pulls})" for curve in power.curves]
    axes.legend(
        handles,
        names,
        loc="lower left",
        bbox_to_anchor=(0, 1.0),
        ncols=min(len(names), 4),
        frameon=False,
        borderaxespad=0.1,
        handlelength=3,
    )
    axes.annotate("torque, right scale", (0.01, 0.985), xycoords="axes fraction", va="top", fontsize=8, color=INK)
    axes.annotate("power, left scale", (0.99, 0.03), xycoords="axes fraction", ha="right", va="bottom", fontsize=8, color=INK)


def _gain(axes: Any, power: PowerComparison, height_in: float) -> None:
    ends = [0.0]
    for number, gain in enumerate(power.gains, start=1):
        look = _look(_place(power, gain.variant, number))
        if np.isfinite(gain.band_low_percent).all():
            axes.fill_between(
                gain.rpm, gain.band_low_percent, gain.band_high_percent, color=look["color"], alpha=0.15, linewidth=0
            )
            ends += [float(gain.band_low_percent.min()), float(gain.band_high_percent.max())]
        axes.plot(gain.rpm, gain.curve_percent, linewidth=1.8, **look)
        ends += [float(gain.curve_percent.min()), float(gain.curve_percent.max())]
    axes.axhline(0, color=INK, linewidth=1.0)
    axes.axhline(1, color=FAINT, linewidth=0.9, linestyle=(0, (2, 2)))
    low, high = min(ends), max(ends)
    if high - low > _MOST_GAIN_SPAN:  # a wide band must not flatten the gain itself
        middle = [float(np.median(gain.curve_percent)) for gain in power.gains]
        low, high = max(low, min([*middle, 0.0]) - _MOST_GAIN_SPAN / 2), min(high, max([*middle, 0.0]) + _MOST_GAIN_SPAN / 2)
    spare = max(_LEAST_GAIN_SPAN - (high - low), 0) / 2 + 0.06 * (high - low)
    axes.set_ylim(low - spare, high + spare)
    axes.set_ylabel(f"gain over {power.baseline}, %" if len(power.baseline) <= 14 and height_in > _SHORT_IN else "gain, %")


def _place(power: PowerComparison, variant: str, otherwise: int) -> int:
    names = [curve.name for curve in power.curves]
    return names.index(variant) if variant in names else otherwise
