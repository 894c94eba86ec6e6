"""Charts of full-throttle pulls laid over each other from their starts: a thin line each, a thick one for their mean, a band for its 95 % range."""

from collections.abc import Sequence

import numpy as np

from hotfuel.places import place_words
from hotfuel.report.chart import Chart, Range
from hotfuel.report.figures import COLOURS, DASHES, INK, fit
from hotfuel.study.line.overlaid import Overlay, VariantPulls
from hotfuel.units import Shown

_HEIGHT_PX = 104
_VARIANTS_MOST = 8


def of_session(laid: Overlay, shown: Shown) -> Chart:
    """All pulls of one session at a place."""
    return _chart("pulls", [("mean", laid)], shown)


def of_variants(variants: Sequence[VariantPulls], place: str, shown: Shown) -> Chart:
    """Each variant's pulls at a place, in its own colour and dash."""
    return _chart(
        "variant-pulls", [(one.variant, one.overlays[place]) for one in variants if place in one.overlays][:_VARIANTS_MOST], shown
    )


def place_of(variants: Sequence[VariantPulls]) -> str:
    """The last place of the line that every variant's pulls have; "" without one."""
    shared = [place for one in variants[:1] for place in one.overlays if all(place in other.overlays for other in variants)]
    return shared[-1] if shared else ""


def caption(laid: Sequence[Overlay]) -> str:
    """What the picture shows, and what its band is of."""
    several = all(len(one.names) > 1 for one in laid)
    unit = "sessions" if any(one.unit == "session" for one in laid) else "pulls"
    band = f" Broad stripe: their mean; band: its 95 % range over {unit}." if several else ""
    return f"Each thin line is one pull, from its start on.{band}"


def _chart(name: str, laid: Sequence[tuple[str, Overlay]], shown: Shown) -> Chart:
    unit = shown.unit("temperature")

    def values(degc: np.ndarray) -> np.ndarray:
        return np.asarray(shown.value(degc, "temperature"))

    time_s = max((one.time_s for _, one in laid), key=len)
    place = laid[0][1].place
    y = fit(*(values(one.traces).ravel() for _, one in laid), least_span=5)
    alt = f"Temperature at {place_words(place)} in full-throttle pulls from their start: {'; '.join(_alt(what, one, shown) for what, one in laid)}."
    plot = Chart(
        name, _HEIGHT_PX, Range(float(time_s[0]), float(time_s[-1]) + 0.5), y, f"{place_words(place)}, {unit}", alt, "since the pull's start, s",
    )  # fmt: skip
    plot.upright(0.0, INK, 1.0, "2 3")
    for number, (what, one) in enumerate(laid):
        colour, dash = (INK, ()) if len(laid) == 1 else (COLOURS[number % 8], DASHES[number % 8])
        plot.band(one.time_s, values(one.low_degc), values(one.high_degc), colour)
        several = len(one.traces) > 1
        plot.line(one.time_s, values(one.mean_degc), what, unit, colour, dash, *((5.0, 0.4) if several else (2.2,)))
        for trace in one.traces if several else ():
            plot.hair(one.time_s, values(trace), colour)
    return plot


def key(variants: Sequence[VariantPulls]) -> list[dict[str, object]]:
    """The key of `of_variants`."""
    return [
        {
            "colour": COLOURS[number % 8],
            "width": 4,
            "dash": " ".join(map(str, DASHES[number % 8])),
            "text": one.variant,
            "hatch": "",
        }
        for number, one in enumerate(variants[:_VARIANTS_MOST])
    ]


def _alt(what: str, one: Overlay, shown: Shown) -> str:
    at_start = float(np.interp(0.0, one.time_s, one.mean_degc))
    lowest = float(np.nanmin(one.mean_degc))
    return f"{what} of {len(one.names)}, from {shown.text(at_start, 'temperature', 0)} to {shown.text(lowest, 'temperature', 0)} at the lowest"
