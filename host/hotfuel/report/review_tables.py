"""The tables of a session's review: places, phases, the line between places, alarms, marks, gaps and events."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from hotfuel.places import is_behind_needle, place_words
from hotfuel.report import basis, heat_words, line_words, plots, words
from hotfuel.report.table import Table
from hotfuel.risk.level import words_in_units
from hotfuel.session import Session
from hotfuel.session.summary import Summary
from hotfuel.study.line.draws import Interval
from hotfuel.study.story import Story
from hotfuel.text import first_upper
from hotfuel.units import Shown, expanded

_ROWS_MOST = 40


def places(session: Session, summary: Summary, shown: Shown, clock: words.Clock) -> Table:
    """One row a place: hottest, smallest margin with its 95 % half width and moment, its limit and V/L there, and how long it was warned or beyond."""
    table = Table(
        ("Place", "Hottest", "Smallest margin", "Limit there", "V/L there", "Warned", "Beyond the limit", "No reading"),
        numbers=range(1, 8),
    )
    for p in summary.places.values():
        unknown = p.smallest_margin_degc != p.smallest_margin_degc
        half = basis.reading_half_degc(session, p.place) if unknown else np.nan
        doubt = f" ±{words.difference(shown, half)}" if np.isfinite(half) else ""
        hottest = f"{shown.text(p.hottest_degc, 'temperature')}{doubt}, {clock.moment(p.hottest_at)}"
        if is_behind_needle(p.place):
            hottest = ""
        lost = "" if is_behind_needle(p.place) else words.duration(p.lost_s)
        if unknown:
            told = [words.duration(p.inside_uncertainty_s), words.duration(p.beyond_limit_s)] if p.no_limit else ["", ""]
            table.rows.append(
                (place_words(p.place), hottest, words_in_units(p.no_limit, shown) or "no limit", "", "", *told, lost)
            )
            continue
        margin = f"{words.signed(shown, p.smallest_margin_degc)} ±{words.difference(shown, expanded(p.uncertainty_degc))}, {clock.moment(p.smallest_margin_at)}"
        margin += f"\nbut {words.duration(p.no_limit_s)} without a limit" if p.no_limit else ""
        limit, ratio = shown.text(p.limit_there_degc, "temperature"), _ratio(p.vapour_liquid_ratio_there)
        within, beyond = words.duration(p.inside_uncertainty_s), words.duration(p.beyond_limit_s)
        table.rows.append((place_words(p.place), hottest, margin, limit, ratio, within, beyond, lost))
    return table


def _ratio(value: float) -> str:
    if not np.isfinite(value):
        return ""
    return "40 or more" if value >= 39.99 else f"{value:.1f}"


def phases(told: Story, session: Session, shown: Shown, clock: words.Clock) -> Table | None:
    """One row a phase: its place with the smallest margin, or the hottest where no margin is known."""
    table = Table(("Phase", "From", "Length", "Hottest", "Smallest margin", "Warned", "Beyond"), numbers=(2, 5, 6))
    start = session.ticks.index[0]
    for phase in told.phases[:_ROWS_MOST]:
        places = {name: place for name, place in phase.places.items() if not np.isnan(place.peak_degc)}
        if not places:
            continue
        hot = max(places, key=lambda name: places[name].peak_degc)
        limited = {name: place for name, place in places.items() if not np.isnan(place.smallest_margin_degc)}
        near = min(limited, key=lambda name: limited[name].smallest_margin_degc, default=None)
        without = max(
            (name for name in places if places[name].no_limit_s), key=lambda name: places[name].no_limit_s, default=None
        )
        margin = (
            f"none left, {place_words(without)}"
            if without
            else f"{words.signed(shown, limited[near].smallest_margin_degc)}, {place_words(near)}"
            if near
            else "no limit"
        )
        seen = "" if phase.laps < 2 else " (line not seen between)"
        table.rows.append(
            (
                phase.name + seen, clock.moment(start + pd.Timedelta(seconds=phase.start_s)), words.duration(phase.duration_s),
                f"{shown.text(places[hot].peak_degc, 'temperature')}, {place_words(hot)}", margin,
                words.duration(max((p.warn_s for p in places.values()), default=0.0)), words.duration(max((p.act_s for p in places.values()), default=0.0)),
            )
        )  # fmt: skip
    return table.cut(len(told.phases), _ROWS_MOST) if table.rows else None


def line(told: Story, session: Session, shown: Shown, clock: words.Clock) -> Table | None:
    """One row per section of the line: the most informative stretch, and what the fuel did there."""
    table = Table(
        ("Section", "Stretch that shows most", "Time in line", "Volume", "Heat taken up", "Heat per degree", "Why it changed"),
        numbers=(2, 3, 4, 5),
    )
    start = session.ticks.index[0]
    for one in told.sections[:_ROWS_MOST]:
        stretch = f"{clock.moment(start + pd.Timedelta(seconds=one.start_s))}, {words.duration(one.end_s - one.start_s)}"
        found = one.hose
        values = [""] * 4
        if found is not None:
            declared = "\nas declared" if found.volume_u_l == 0 else ""
            values = [
                _within(found.delay_s, expanded(found.delay_u_s), 0, "s"),
                _within(1000 * found.volume_l, 1000 * expanded(found.volume_u_l), 0, "mL") + declared,
                _heat(found.heat_w, float(expanded(found.heat_u_w))),
                _within(found.ua_w_k, expanded(found.ua_u_w_k), 1, "W/K") if found.ua_w_k > expanded(found.ua_u_w_k) else "–",
            ]
        table.rows.append(
            (
                f"{place_words(one.before)} to {place_words(one.place)}",
                stretch,
                *values,
                first_upper(line_words.section(one, shown)),
            )
        )
    return table.cut(len(told.sections), _ROWS_MOST) if table.rows else None


def _heat(watts: float, half: float) -> str:
    """Heat taken up on the way, what cannot be told on two lines."""
    if not np.isfinite(half):
        return "–"
    return heat_words.taken_up(Interval(watts - half, watts, watts + half)).replace(" (", "\n(")


def _within(value: float, uncertainty: float, decimals: int, unit: str) -> str:
    """A quantity that is nothing or more."""
    if not np.isfinite(value):
        return "–"
    if uncertainty >= value > 0:
        return f"at most {value + uncertainty:.{decimals}f} {unit}"
    return f"{value:.{decimals}f} {unit}" + (f"\n±{uncertainty:.{decimals}f}" if uncertainty else "")


def alarms(alarms: pd.DataFrame, shown: Shown, clock: words.Clock) -> Table | None:
    """One row an alarm, None where there was none."""
    return _rows(
        ("From", "to", "Place", "What"),
        alarms,
        lambda row: (clock.moment(row.start), clock.moment(row.end), place_words(row.place), plots.alarm_words(row.level, shown)),
    )


def marks(session: Session, clock: words.Clock) -> Table | None:
    """One row a mark, None where there is none."""
    return _rows(
        ("No.", "Time", "What was marked"),
        session.marks(),
        lambda row: (str(row.Index + 1), clock.moment(row.time), str(row.text)),
    )


def gaps(session: Session, clock: words.Clock) -> Table | None:
    """One row a gap in the link, None where there is none."""
    return _rows(
        ("From", "to", "Length", "Reason"),
        session.gaps(),
        lambda row: (clock.moment(row.start), clock.moment(row.end), words.duration(row.duration_s), str(row.reason)),
    )


def events(session: Session, clock: words.Clock) -> Table | None:
    """What the board reported, None where it reported nothing."""
    return _rows(
        ("Time", "Event", "Place", "Detail"),
        session.events(),
        lambda row: (clock.moment(row.time), str(row.event), str(row.place), str(row.text)),
    )


def _rows(headings: tuple[str, ...], found: pd.DataFrame, cells: Callable[[Any], tuple[str, ...]]) -> Table | None:
    """The first rows of `found` as cells, None where it is empty."""
    if not len(found):
        return None
    table = Table(headings)
    table.rows += [cells(row) for row in found.head(_ROWS_MOST).reset_index(drop=True).itertuples()]
    return table.cut(len(found), _ROWS_MOST)
