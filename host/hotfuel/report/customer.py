"""The first page of a report, which a customer keeps and a shop signs: text and one picture on one sheet of paper.

A report makes a `Sheet` of texts, asks `room` how tall its picture may be, draws it, and gives both to `html.page`, whose template calls the macro
`customer` of macros.html.jinja. The same sheet makes the upright card (card.html.jinja).
"""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from hotfuel.report.chart import Chart
from hotfuel.report.plots import Plot
from hotfuel.report.table import Table
from hotfuel.report.words import CAUTIONS, today

_PAGE_PX, _WIDTH_PX = 960.0, 680.0  # between the margins of page.css: the height of Letter, the width of A4
_BOLD = 1.13  # letters of a heading are that much wider than half their height
_SPARED = 0.985  # letters differ in width from machine to machine


@dataclass(frozen=True)
class _Print:
    """Sizes of the printed page, px, as page.css has them: of text, headings, rows and what lies between."""

    text: float
    line: float
    h1: float
    h2: float
    gap: float
    item: float
    row: float
    row_text: float
    cautions: float
    cautions_edge: float
    sign: float
    about: float
    lead: float


_FULL = _Print(12.5, 17.0, 25.0, 32.0, 8.0, 4.0, 4.0, 12.0, 10.5, 52.0, 62.0, 36.0, 10.0)
_DENSE = _Print(10.8, 14.6, 18.0, 24.0, 4.0, 0.0, 4.0, 10.5, 10.0, 36.0, 40.0, 24.0, 2.0)
_MASTHEAD_PX = 46.0
_FRAME_PX = 62.0  # of a picture: key, title, scale and caption


@dataclass
class Sheet:
    """The texts of a first page, in the order in which they are read. No sentence is finer than its doubt, none promises anything.

    headlines: the answers, all equally large; the first is the page's heading. about: car, customer, day. lead: sentences before the picture, text:
    after it. table: numbers beneath the picture. work_done: a person's own words; done: ours; without both there are blank lines to write on. facts:
    (what, value) rows of the conditions, or conditions: sentences. weakens: what weakens the finding.
    """

    headlines: Sequence[str]
    kind: str = "Fuel temperature report"
    shop: str = ""
    about: Sequence[str] = ()
    complaint: str = ""
    lead: Sequence[str] = ()
    picture: Plot | None = None
    table: Table | None = None
    text: Sequence[str] = ()
    done_title: str = "What was done"
    conditions_title: str = "Conditions"
    work_done: str = ""
    done: Sequence[str] = ()
    next_steps: Sequence[str] = ()
    facts: Sequence[tuple[str, str]] = ()
    conditions: Sequence[str] = ()
    weakens: Sequence[str] = ()
    reasons: Sequence[
        str
    ] = ()  # below the card's heading, because its lists are cut short: why there is no verdict, for which fixes
    cautions: Sequence[str] = CAUTIONS
    simulated: bool = False  # wholly or in part; simulated_words say what of it
    simulated_words: str = "simulated, no real car"
    dense: bool = False
    overfull: bool = False
    made: str = field(default_factory=today)

    def room(self, full_px: float, least_px: float, frame_px: float = _FRAME_PX) -> int:
        """How tall the picture may be, px, from least_px to full_px, so that the page stays one sheet of paper; sets `dense` where the print must be
        smaller, and `overfull` where even that is not enough: then the picture has its place in the technical part. frame_px: what the picture takes
        beside its height: key, titles, scales, caption."""
        left = _PAGE_PX * _SPARED - _taken(self, _FULL) - frame_px
        self.dense = left < least_px
        if self.dense:
            left = _PAGE_PX * _SPARED - _taken(self, _DENSE) - frame_px
        self.overfull = left < least_px
        return int(min(full_px, max(least_px, left)))


@dataclass
class Report:
    """A page as text, its first page's sheet, and every chart drawn for it by name. card: draws those of the
    sheet's picture narrow, for a card. why: how near it was, when and why, for the first line of a terminal."""

    page: str
    sheet: Sheet
    figures: dict[str, Chart]
    card: Callable[[], list[Chart]] = list
    why: str = ""

    @property
    def answer(self) -> str:
        """The sheet's headlines, and why, on one line."""
        return " ".join(filter(None, (*self.sheet.headlines, self.why)))


def _taken(sheet: Sheet, by: _Print) -> float:
    """The height of all but the picture, px."""
    about = [*sheet.about, sheet.simulated_words if sheet.simulated else ""]
    used = _MASTHEAD_PX + by.about + (_lines(" · ".join(filter(None, about)), by.text) - 1) * by.line
    used += sum(_lines(line, by.h1 * _BOLD) * by.h1 * 1.22 + 6 for line in sheet.headlines)
    if sheet.complaint:
        used += by.h2 + _paragraphs([sheet.complaint], by)
    used += _paragraphs(sheet.lead, by) + by.lead * len(sheet.lead) + _paragraphs(sheet.text, by)
    if sheet.table is not None:
        used += sum(lines * by.row_text * 1.36 + by.row for lines in _rows(sheet.table, by.row_text)) + 10
    left = by.h2 + _paragraphs([sheet.work_done] if sheet.work_done else [], by, 0.48) + _items(sheet.done, by, 0.48)
    left += 0 if sheet.work_done or sheet.done else 42
    left += by.h2 + _items(sheet.next_steps, by, 0.48)
    right = by.h2 + _items(sheet.conditions, by, 0.48)
    right += sum(_lines(value, by.row_text, 0.29) * by.row_text * 1.36 + by.row for _, value in sheet.facts)
    used += max(left, right)
    if sheet.weakens:
        used += by.h2 + _items(sheet.weakens, by)
    used += by.cautions_edge + sum(_lines(line, by.cautions, 0.93) * by.cautions * 1.35 + 2 for line in sheet.cautions)
    return used + by.sign


def _rows(table: Table, size_px: float) -> list[float]:
    """How many lines each row takes, the head first: where the columns together are wider than the page, each is narrowed in proportion."""
    rows = [table.head, *table.rows]
    widest = [max(len(line) for row in rows for line in row[at].split("\n")) for at in range(len(table.head))]
    across = sum(widest) * 0.5 * size_px + 10 * len(widest)
    share = [1.0 if across <= _WIDTH_PX else letters / sum(widest) for letters in widest]
    head, *others = [max(_lines(cell, size_px, one) for cell, one in zip(row, share, strict=True)) for row in rows]
    return [1.3 * head, *others]


def _lines(text: str, size_px: float, share: float = 1.0) -> int:
    """How many lines a text takes in that share of the page's width: a letter is about half as wide as it is tall, and words stay whole."""
    letters = max(int(share * _WIDTH_PX / (0.5 * size_px)), 1)
    return sum(max(len(textwrap.wrap(part, letters)), 1) for part in text.split("\n"))


def _paragraphs(texts: Iterable[str], by: _Print, share: float = 1.0) -> float:
    return sum(_lines(text, by.text, share) * by.line + by.gap for text in texts)


def _items(texts: Iterable[str], by: _Print, share: float = 1.0) -> float:
    return sum(_lines(text, by.text, share * 0.97) * by.line + by.item for text in texts)
