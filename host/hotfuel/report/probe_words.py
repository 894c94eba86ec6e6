"""Probes that may read wrong: what a review says of them, in its first sentence where its answer rests on one, and beside it.

Words without a capital and a full stop.
"""

from collections.abc import Collection

import numpy as np

from hotfuel.places import place_words, probe_of
from hotfuel.report.words import of_all, spoken, where
from hotfuel.session.summary import Summary
from hotfuel.study.line.exchanged import WITHIN_S, Exchanged
from hotfuel.study.line.parked import Apart
from hotfuel.text import listed
from hotfuel.units import Shown, expanded


def suspected(summary: Summary) -> str:
    """Which probes may not have read the fuel for long, for how long and why; "" without one."""
    found = summary.suspected
    if not found:
        return ""
    all_s = summary.duration_s + summary.unheard_s
    told = [f"{where(one.place)} for {of_all(min(one.suspected_s, all_s), all_s)} ({one.suspected})" for one in found]
    return f"the probe{'s' if len(found) > 1 else ''} may not have read the fuel {listed(told)}"


def warm_them(summary: Summary) -> str:
    """How to find out about these probes, a sentence."""
    places = listed([f"the {place_words(one.place)}" for one in summary.suspected])
    each = "the probe" if len(summary.suspected) == 1 else "each probe"
    return f"Warm the tip of {each} at {places} by hand: its reading must rise. Mend what is wrong, then repeat the drive."


def apart_clause(apart: Apart, summary: Summary, named: Collection[str], shown: Shown) -> str:
    """Which probe may read wrong and by how much, where the answer rests on it: where it names that place, or the place would be nearer to its limit than
    the nearest if the probe reads too little. named: the places of the answer."""
    hidden = False
    near = summary.smallest
    if apart.by_degc < 0 and near is not None:
        least = max(near.smallest_margin_degc, float(expanded(near.uncertainty_degc)))
        hidden = any(
            probe_of(name) == apart.place and place.smallest_margin_degc + apart.by_degc < least
            for name, place in summary.places.items()
        )
    if not hidden and apart.place not in map(probe_of, named):
        return ""
    by = shown.text(abs(apart.by_degc), "temperature difference", 0)
    return f"the probe at the {place_words(apart.place)} may read {by} too {'high' if apart.by_degc > 0 else 'low'}"


def turned_by(apart: Apart, summary: Summary) -> str:
    """The place that might have boiled unseen because its probe reads too low; "" without one. A probe that reads more may have been warm in truth."""
    near = summary.smallest
    if apart.by_degc > 0 or near is None:
        return ""
    for name, place in summary.places.items():
        read = place.smallest_margin_degc
        if probe_of(name) != apart.place or not np.isfinite(read):
            continue
        doubt_degc = float(expanded(place.uncertainty_degc))
        mended = read + apart.by_degc
        if mended < doubt_degc and near.smallest_margin_degc > -doubt_degc:
            return name
    return ""


def apart_words(apart: Apart, shown: Shown) -> str:
    """Which probe seems to read wrong."""
    by = shown.text(abs(apart.by_degc), "temperature difference", 0)
    side = "more" if apart.by_degc > 0 else "less"
    return f"before the start the probe at the {place_words(apart.place)} read {by} {side} than the others, which agreed"


def apart_why(apart: Apart) -> str:
    """What can be the reason: much fuel takes hours to come to the air's temperature."""
    true = (
        "the tank's fuel follows the air slowly and may truly have been so"
        if apart.tank
        else "it was still warm from an earlier drive"
    )
    return f"{true}, or the probe reads wrong by that" if apart.tank or apart.by_degc > 0 else "the probe reads wrong by that"


def exchanged_words(one: Exchanged, shown: Shown) -> str:
    """Which two probes look swapped."""
    tank, last = (shown.text(degc, "temperature difference", 0) for degc in (one.tank_degc, one.last_degc))
    return (
        f"the probe at the {place_words(one.tank)} changed by {tank} within {spoken(WITHIN_S)}, the one at the {place_words(one.last)} by {last}; "
        "much fuel changes slowly, so these two may be swapped, or the tank was nearly empty: then sloshing bares its probe, and a return warms the little "
        "that is left"
    )
