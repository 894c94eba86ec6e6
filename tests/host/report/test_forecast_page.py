"""The pages of `forecast`: the answer as heading, rounded to its uncertainty, the picture's curves as calculated, one sign for minus."""

import html
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hotfuel.car import EXAMPLE, load
from hotfuel.report import first_words, forecast_words
from hotfuel.report import forecast as page
from hotfuel.study.drive.course import Course
from hotfuel.study.line import first
from hotfuel.study.line.change import Change
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.forecast import Gain, forecast
from hotfuel.units import Shown

COUNT = 600
SI, US = Shown("si"), Shown("us")


@pytest.fixture(scope="module")
def course():
    t = np.arange(COUNT) * 1.0
    blank = np.full(COUNT, np.nan)
    inputs = {"engine_rpm": np.full(COUNT, 2000.0), "fuel_pressure_kpa": np.full(COUNT, 38.0), "running": np.ones(COUNT)}
    inputs |= {"ignition": blank, "ambient_pressure_kpa": blank}
    degc = {"tank": np.full(COUNT, 33.0), "pump": 46 + 8 * t / COUNT, "carb_inlet": 52 + 16 * t / COUNT}
    return Course("sunday", t, degc, {}, inputs, (), 0.0, load(EXAMPLE), 28.0)


@pytest.fixture(scope="module")
def told(course):
    ask = [
        Change("a spacer under the pump", spacer_share=(0.3, 0.8)),
        Change("a cooler", cooler_effectiveness=0.6, cooler_before="carb_inlet"),
        Change("a day hotter", hotter_degc=15),
    ]
    return forecast(course, ask)


SESSION = SimpleNamespace(name="sunday", metadata={"customer": "A. N. Owner"}, car=load(EXAMPLE))


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", page, flags=re.S))


def test_the_page_has_the_answer_first_and_its_picture(told):
    made = page.changes(SESSION, told, SI)
    said = text_of(made.page)
    assert made.sheet.headlines[0].startswith("With a spacer under the pump there would be")
    assert "A. N. Owner" in said
    assert said.index(made.sheet.headlines[0]) < said.index("Technical part")
    customer = text_of(made.page[: made.page.index('id="technical"')])
    assert "margin" not in customer
    assert not re.search(r"(?<![\w-])-\d", said)  # one sign for minus
    assert not re.search(r"±0(?:\.0)?(?![.\d])", said) and "as before" in said  # an unchanged value is not given to a tenth
    chart = made.figures["change0"]
    curve = told[0].curves[page.chosen(told[0])]
    assert chart.y.low < curve.least_degc.min()
    assert chart.y.high > np.nanmax(curve.limit_degc)
    assert "°C" in chart.alt
    assert np.all(curve.least_degc <= curve.middle_degc + 1e-9)
    assert np.all(curve.middle_degc <= curve.greatest_degc + 1e-9)


def test_the_heading_is_rounded_to_its_uncertainty(told):
    def heading(least, middle, greatest):
        gain = Gain("pump", "idle", Interval(least, middle, greatest))
        return page.headline(replace(told[0], smallest=gain), SI)

    assert heading(2.1, 4.0, 6.2) == "With a spacer under the pump there would be 2 to 6 °C more room to boiling"
    assert heading(-6.2, -4.0, -2.1) == "With a spacer under the pump there would be 2 to 6 °C less room to boiling"
    assert "cannot be told: 2 °C less to 6 °C more" in heading(-2.0, 3.0, 6.0)
    assert heading(0.0, 0.0, 0.0) == "A spacer under the pump would not change the least room to boiling"


def test_what_to_try_first_is_a_page_with_its_groups(course):
    tried = first.try_first(course)
    made = page.try_first(SESSION, tried, SI)
    said = text_of(made.page)
    for one in tried:
        assert first_words.name(one) in said
        assert first_words.WORDS[one.fix.which].fuss.split(";")[0] in said
    assert "Nothing is known here about these" in said
    doubts = [one.told.smallest.degc.half for one in tried]
    assert max(doubts) > 1
    for one, half in zip(tried, doubts, strict=True):  # rounded to its uncertainty
        told = first_words.interval(one.told.smallest.degc, SI, ("more", "less"))
        assert ("." in told) == (half < 1 and not told.startswith("no ")), told
    assert "Try first" in made.sheet.headlines[0]
    best = [first_words.name(one) for one in first_words.by_outlook(tried, SI).best]
    assert len(best) == 1 or all(name in made.sheet.reasons[0] for name in best)  # the card names them too
    figures, upkeep, unknown = (set(rows) for rows in rows_of_tables(made.page))
    names = {first_words.name(one) for one in tried}
    assert any("a cooler with a fan" in name for name in names) and any("an ice can" in name for name in names)
    assert figures == upkeep == names  # every fix of the text has a row, on the first page too
    assert unknown == {name for name, _, _ in first_words.UNKNOWN.values()}
    for one in tried:
        (row,) = [
            row
            for row in re.findall(r"<tr>.*?</tr>", made.page, re.S)
            if first_words.name(one) in row and first_words.WORDS[one.fix.which].basis in row
        ]
        assert first_words.WORDS[one.fix.which].fuss in html.unescape(row)


def rows_of_tables(page):
    """The fixes of each table of a page in turn, which stand in the column "Fix"."""
    for table in re.findall(r"<table>.*?</table>", page, re.S):
        head = re.findall(r"<th scope=\"col\">(.*?)</th>", table)
        rows = re.findall(r"<tr>(<th scope=\"row\">.*?)</tr>", table, re.S)
        yield [html.unescape(re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)[head.index("Fix")]) for row in rows]


def with_gain(one, least, middle, greatest):
    gain = Gain("pump", "hot soak", Interval(least, middle, greatest))
    return replace(one, told=replace(one.told, smallest=gain))


def test_a_fix_that_may_make_it_worse_is_not_among_those_to_try_first(course):
    sleeve, moved, spacer = (
        with_gain(one, *gain)
        for one, gain in zip(first.try_first(course), ((2.0, 6.0, 9.0), (-6.0, 5.0, 10.0), (1.0, 4.0, 8.0)), strict=False)
    )
    group = [replace(one, group=1) for one in (moved, sleeve, spacer)]
    names = [first_words.name(one) for one in group]
    lines = first_words.sentences(group, SI)
    assert lines[0] == f"Try first one of these two; they cannot be told apart here: {names[1]}, {names[2]}."
    apart = lines.index("This may help, and may make it worse:")
    assert f"{names[0]}: 5 °C more room (6 °C less to 10 °C more)" in lines[apart + 1]
    made = page.try_first(SESSION, group, SI)
    assert made.sheet.headlines == ["Try first one of these two; they cannot be told apart here"]
    assert names[0] not in made.sheet.lead[0]
    assert f"{names[0][0].upper()}{names[0][1:]} may help, and may make it worse." in made.sheet.lead
    assert [row[:2] for row in made.sheet.table.rows] == [("1", names[1]), ("1", names[2]), ("may harm", names[0])]
    assert made.sheet.picture.caption.endswith(f"with {names[1]}; where the lines meet the limit, it would boil.")
    assert [one["outlook"] for one in first_words.by_outlook(group, SI).as_dicts()] == ["more room", "more room", "may harm"]


def test_where_no_fix_is_sure_to_help_none_is_named_to_try_first(course):
    unsure = [with_gain(one, -6.0, 5.0, 10.0) for one in first.try_first(course)[:2]]
    lines = first_words.sentences(unsure, SI)
    assert lines[0] == "None of the fixes that can be forecast here surely gives more room to boiling."
    assert "These may help, and may make it worse:" in lines
    made = page.try_first(SESSION, unsure, SI)
    assert made.sheet.headlines == ["None of the fixes that can be forecast here surely gives more room to boiling"]
    assert "Try first" not in text_of(made.page).replace("What to try first", "") and "Try first" not in "\n".join(lines)


def fix_that_gives(least, middle, greatest, now=-12.0):
    """A fix as `try_first` returns it that raises the pump's smallest margin `now` by middle (least to greatest), all degC."""
    gain = SimpleNamespace(degc=Interval(least, middle, greatest), place="carb_inlet", phase="hot soak")
    rows = (SimpleNamespace(place="tank", margin_before_degc=20.0), SimpleNamespace(place="pump", margin_before_degc=now))
    return SimpleNamespace(told=SimpleNamespace(smallest=gain, rows=rows))


def test_a_gain_that_is_not_enough_is_reported_as_such():
    first_of = fix_that_gives
    assert first_words.beyond_still([first_of(2.0, 3.0, 5.0), first_of(4.0, 8.0, 10.0)], SI) == (
        "No fix is enough by itself: fuel is 12 °C beyond its limit at the pump now, and the best would leave it 4 °C beyond, at the carb inlet"
    )
    assert "cannot be told" in first_words.beyond_still([first_of(10.0, 13.0, 20.0)], SI)
    assert first_words.beyond_still([first_of(12.5, 14.0, 20.0)], SI) == ""  # clearly enough
    assert first_words.beyond_still([first_of(1.0, 3.0, 5.0, now=2.0)], SI) == ""  # never beyond


def test_a_change_that_moves_no_temperature_keeps_its_margin_on_the_first_page(course):
    (told,) = forecast(course, [Change("a road 200 m higher", higher_m=200.0)])
    said = forecast_words.said(told, SI, plain=True)
    assert said.moved == "" and said.margin.startswith("With a road 200 m higher, ")
    made = page.changes(SESSION, [told], SI)
    assert made.sheet.text[0] == said.margin
    assert said.margin in text_of(made.page[: made.page.index('id="technical"')])


def test_the_first_sentence_adds_up_and_the_worst_place_is_named(told):
    gain = Gain("carb_inlet", "idle", Interval(5.0, 9.0, 12.0))
    one = replace(told[0], smallest=gain)
    was = min(one.rows, key=lambda row: row.margin_before_degc if row.margin_before_degc == row.margin_before_degc else np.inf)
    said = forecast_words.said(one, SI, plain=True)
    other = next(row.place for row in one.rows if row.place != was.place and np.isfinite(row.margin_degc))
    elsewhere = forecast_words.said(replace(one, smallest=replace(gain, place=other)), SI, plain=True)
    assert elsewhere.was_least.startswith("At the ")
    assert "9 °C more room (5 to 12 °C)" in said.margin
    after, before = re.findall(r"(\d+) °C( beyond)?[^,:]*, at the", said.margin)
    signed = [-int(size) if beyond else int(size) for size, beyond in (after, before)]
    assert signed[0] - signed[1] == 9
