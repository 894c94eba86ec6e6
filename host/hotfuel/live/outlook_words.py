"""Forecasts in words: what to expect during a stop or at idle, and from when a restart is likely to be possible."""

import math
from typing import Any

from hotfuel.live.forecasts import Outlook, later
from hotfuel.live.plain import Clock, number, place_label, step_of
from hotfuel.live.situation import Situation
from hotfuel.risk.soak import Band, Chance
from hotfuel.units import COVERAGE_95, Shown

HORIZON_MIN = 55.0  # how far a forecast looks; a range that reaches it ends in "or more"
_CHANCES = {
    Chance.VERY_LIKELY: "will very likely pass {}",
    Chance.LIKELY: "will more likely pass {} than not",
    Chance.POSSIBLE: "may pass {}",
    Chance.NOT_EXPECTED: "not expected to pass {}",
}
_WIDTH = 2 * COVERAGE_95  # standard uncertainties in a band of 95 % (hotfuel.risk.soak)


def forecasts(now: Situation, shown: Shown) -> dict[str, Any]:
    """{"title", "note", "rows": [{"name", "text"}]}; no rows where there is no forecast."""
    if not now.outlooks:
        return {"title": "", "note": "", "rows": []}
    rows = [{"name": place_label(outlook.place), "text": _outlook(outlook, shown)} for outlook in now.outlooks]
    note = "model only, until ten hot stops of this car are stored" if any(outlook.model_only for outlook in now.outlooks) else ""
    title = "After this stop" if now.outlooks[0].soak else "At this idle"
    return {"title": title, "note": note, "rows": rows}


def restart(now: Situation, clock: Clock) -> str:
    """ "restart likely possible from about 14:52 (14:40 to 15:10)": when the last place is back below boiling onset; "" where nothing keeps it."""
    waits = [outlook.soak.below_onset_min for outlook in now.outlooks if outlook.soak is not None]
    waits = [band for band in waits if math.isfinite(band.middle)]
    if not waits or not math.isfinite(now.stopped_at):
        return ""
    last = max(waits, key=lambda band: band.middle)
    left = later(last, (now.at - now.stopped_at) / 60)
    if left.greatest <= 0:
        return ""
    if not clock.known:
        return f"restart likely possible in about {_minutes(left)}"
    if last.middle >= HORIZON_MIN:
        return f"restart likely possible not before {clock.minute(now.stopped_at + 60 * last.least)}"
    least, middle, greatest = (clock.minute(now.stopped_at + 60 * value) for value in (last.least, last.middle, last.greatest))
    end = "or later" if last.greatest >= HORIZON_MIN else f"to {greatest}"
    if left.middle <= 0:
        return f"restart likely possible about now ({least} {end})"
    return f"restart likely possible from about {middle} ({least} {end}), in {left.middle:.0f} min"


def _rounded(band: Band, shown: Shown, quantity: str) -> tuple[str, str, str]:
    """(middle, least, greatest), no finer than the band's own width allows."""
    values = [float(shown.value(value, quantity)) for value in (band.middle, band.least, band.greatest)]
    step = step_of((values[2] - values[1]) / _WIDTH)
    middle, least, greatest = (number(round(value / step) * step) for value in values)
    return middle, least, greatest


def _band(band: Band, shown: Shown) -> str:
    """A temperature with its band: "145 (135 to 155) °F"."""
    middle, least, greatest = _rounded(band, shown, "temperature")
    return f"{middle} ({least} to {greatest}) {shown.unit('temperature')}"


def _minutes(band: Band) -> str:
    if band.least >= HORIZON_MIN:
        return "55 min or more"
    if band.middle >= HORIZON_MIN:
        return f"55 min or more (from {band.least:.0f})"
    greatest = "55 or more" if band.greatest >= HORIZON_MIN else f"{band.greatest:.0f}"
    return f"{band.middle:.0f} min ({band.least:.0f} to {greatest})"


def _passes(chance: Chance, what: str, minutes: Band, elapsed_min: float) -> str:
    """Whether it will pass this, and when; the screen shows no number for how likely."""
    left = later(minutes, elapsed_min)
    if math.isfinite(left.middle) and left.middle < 1:
        return f"{what} about now or passed"
    return _CHANCES[chance].format(what) + (f", in about {_minutes(left)}" if math.isfinite(left.middle) else "")


def _outlook(outlook: Outlook, shown: Shown) -> str:
    if outlook.idle is not None:
        margin, past = outlook.idle.margin_degc, outlook.idle.margin_degc.middle < 0
        size = Band(-margin.greatest, -margin.middle, -margin.least) if past else margin
        middle, least, greatest = _rounded(size, shown, "temperature difference")
        left = f"{middle} {shown.unit('temperature difference')} {'past' if past else 'left'}"
        return f"in {outlook.idle.ahead_min:.0f} min: {left}, {least} to {greatest}"
    assert outlook.soak is not None
    soak = outlook.soak
    peak_min = later(soak.peak_min, outlook.elapsed_min)
    if peak_min.middle < 1:
        words = [f"highest {_band(soak.peak_degc, shown)}, about now or over"]
    else:
        words = [f"highest {_band(soak.peak_degc, shown)}, in about {_minutes(peak_min)}"]
    words.append(_passes(soak.onset, "boiling onset", soak.onset_min, outlook.elapsed_min))
    if soak.onset is not Chance.NOT_EXPECTED:
        words.append(_passes(soak.limit, "the limit", soak.limit_min, outlook.elapsed_min))
    below = later(soak.below_onset_min, outlook.elapsed_min)
    if math.isfinite(below.middle) and below.greatest > 0:
        words.append(f"below boiling onset in about {_minutes(below)}")
    return "; ".join(words)
