"""The review page: shows the session's own numbers, is self-contained, promises nothing, prints."""

import re
import shutil
import subprocess
from html.parser import HTMLParser

import pandas as pd
import pytest
from hotfuel import car, session
from hotfuel.errors import InputError
from hotfuel.report import html, review, sheet, words
from hotfuel.report.plots import Plots
from hotfuel.report.session_notes import all_notes
from hotfuel.session import folder
from hotfuel.session.summary import summarise
from hotfuel.units import Shown


class Page(HTMLParser):
    """A page's text without scripts and styles, its parts by id, and every address it would load."""

    def __init__(self, text):
        super().__init__()
        self.parts, self.addresses, self._skip = [], [], 0
        self.tags = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self._skip += tag in ("script", "style")
        self.addresses += [value for name, value in attributes if name in ("src", "href", "action", "data") and value]

    def handle_endtag(self, tag):
        self._skip -= tag in ("script", "style")

    def handle_data(self, data):
        if not self._skip:
            self.parts.append(data)

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.parts))


@pytest.fixture(scope="module")
def page(drive_page):
    return Page(drive_page)


def test_the_customers_page_comes_first(page):
    sheet = page.text[: page.text.index("Technical part")]
    for words_there in (
        'A. "Driver" & Son', "Dies at the lights when hot.", "Hose moved off the manifold.", "Conditions", "What to do next", "Please read",
        "Outside air 75 °F", "about 1970 ft", "Nothing is promised for another fuel", "licensed practice", "For the customer",
    ):  # fmt: skip
        assert words_there in sheet, words_there
    for word in ("psi absolute", "margin", "standard uncertainty"):
        assert word not in sheet, word


def test_the_numbers_are_the_sessions_own(page, drive):
    summary = drive.summary()
    shown = Shown("us")
    technical = page.text[page.text.index("Technical part") :]
    assert words.signed(shown, summary.smallest.smallest_margin_degc) in technical
    assert shown.text(summary.hottest.hottest_degc, "temperature") in technical
    # two hours ahead of UTC
    told = int(re.search(r"Hottest fuel [\d.]+ °F pump, (\d\d):", technical).group(1))
    assert (summary.hottest.hottest_at.hour + 2) % 24 == told
    assert technical.index("Smallest margin") < technical.index("Place by place")


def test_the_technical_part(page, drive):
    technical = page.text[page.text.index("Technical part") :]
    for words_there in (
        "How it was measured",
        "Fuel and its route",
        "Calibration",
        "What is missing",
        "NIST ITS-90",
        "ASTM D4814",
        "V/L 20",
        "Firmware: 1.2.3",
    ):
        assert words_there in technical, words_there
    for note in all_notes(drive):
        assert re.sub(r"\s+", " ", note) in technical


def test_the_page_is_self_contained(page):
    assert page.addresses == []
    assert "link" not in page.tags


def test_text_from_people_is_escaped(page, drive_page):
    assert "<b>& back" not in drive_page
    assert "Pass road <b>& back</b>" in page.text


def test_page_one_names_the_title_and_the_fuel(drive_page):
    text = drive_page
    sheet = text[text.index('id="customer"') : text.index("Technical part")]
    assert "Pass road &lt;b&gt;&amp; back&lt;/b&gt; · Blue saloon" in sheet
    assert "as measured: vapour pressure" in sheet and "measured fuel" not in sheet
    assert "parked (else driving or idling)" in sheet or "parked" not in sheet


def test_it_promises_nothing(page):
    for word in (r"\bOK\b", r"\bsafe", r"\bgreen\b", r"\bguarantee", r"\bwill start\b"):
        assert not re.search(word, page.text, re.IGNORECASE), word


def test_units(drive):
    metric = Page(review.render(drive, "si")).text
    assert "°F" not in metric
    assert "psi" not in metric
    shown = Shown("si")
    assert words.signed(shown, drive.summary().smallest.smallest_margin_degc) in metric
    with pytest.raises(InputError, match='choose "si" or "us"'):
        review.render(drive, "imperial")


def test_without_a_car_file(tmp_path, synthetic):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(120.0).data)
    text = Page(review.render(session.open(tmp_path))).text
    assert "needs the car file" in text
    assert "no limit" in text


@pytest.mark.parametrize("data", [b"", b"rubbish \x00\x01\x02" * 9])
@pytest.mark.parametrize("with_car", [True, False])
def test_an_empty_session_still_makes_a_page(tmp_path, data, with_car):
    (tmp_path / "wire.log").write_bytes(data)
    if with_car:
        (tmp_path / "car.toml").write_text(car.EXAMPLE)
    text = Page(review.render(session.open(tmp_path))).text
    assert "Nothing was recorded." in text
    assert "There is no temperature in this recording." in text


def test_one_reading_only(tmp_path, synthetic):
    made = synthetic.Recording()
    made.reading(0.0, (30, 40, 50))
    (tmp_path / "wire.log").write_bytes(made.data)
    (tmp_path / "car.toml").write_text(car.EXAMPLE)
    text = Page(review.render(session.open(tmp_path))).text
    assert "time since the start" in text
    assert "122.0 °F" in text


def test_a_car_with_air_probes_only(tmp_path, synthetic):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(60.0).data)
    text = car.EXAMPLE
    for role in ("tank", "pump", "carburettor"):
        text = text.replace(f'role = "{role}"', 'role = "air"')
    (tmp_path / "car.toml").write_text(text)
    page = Page(review.render(session.open(tmp_path))).text
    assert "no limit is known" in page
    rows = page[page.index("Place by place") :]
    assert re.search(r"tank [\d.]+ °F ±\d\.\d °F, ", rows), "what was read is given with its uncertainty"


def test_probes_that_all_failed(tmp_path, synthetic):
    made = synthetic.Recording()
    for number in range(100):
        made.reading(number * 0.2, (30, 40, 50), status=0x01)
    (tmp_path / "wire.log").write_bytes(made.data)
    (tmp_path / "car.toml").write_text(car.EXAMPLE)
    text = Page(review.render(session.open(tmp_path))).text
    assert "There is no temperature at tank, pump, carb_inlet in the whole recording." in text
    assert "no reading" in text


def test_a_place_that_cannot_be_written(drive, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        review.write(drive, tmp_path / "file" / "page.html")


def test_no_browser_to_print_with(drive, tmp_path, monkeypatch):
    monkeypatch.setenv("HOTFUEL_BROWSER", "no-such-browser")
    with pytest.raises(InputError, match="no Chromium or Chrome"):
        review.write(drive, tmp_path / "page.html", pdf=tmp_path / "page.pdf")
    assert (tmp_path / "page.html").exists()


@pytest.mark.parametrize(("units", "width_pt"), [("si", 595), ("us", 612)])
def test_on_paper_the_customer_sheet_is_one_page(drive, tmp_path, units, width_pt):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    pdf = tmp_path / "page.pdf"
    review.write(drive, tmp_path / "page.html", units, pdf=pdf)
    size = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    assert abs(float(re.search(r"Page size: +([\d.]+) x", size).group(1)) - width_pt) < 1
    pages = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    sheet = 0
    for there in (
        "What to do next",
        "What was done",
        "Conditions",
        "Please read",
        "licensed practice",
        "For the customer",
        "Place and date",
    ):
        assert there in pages[sheet], there
    assert "Technical part" in pages[sheet + 1]
    # the figures are on the paper too: tick labels of the picture's time axis
    assert re.search(r"\d\d:\d\d +\d\d:\d\d", pages[sheet])


FINDINGS = [
    (-9.0, 2.0, "beyond the", "so the limit was passed"),
    (-3.0, 2.0, "beyond the", "too close to tell"),
    (3.0, 2.0, "were left to the", "too close to tell"),
    (12.0, 2.0, "were left to the", "known to about ±3.9 °C."),
]


@pytest.mark.parametrize(("margin", "sure", "state", "how_sure"), FINDINGS)
def test_the_finding_states_its_certainty(drive, margin, sure, state, how_sure):
    from dataclasses import replace

    summary = drive.summary()
    near = replace(
        summary.smallest,
        smallest_margin_degc=margin,
        uncertainty_degc=sure,
        limit_there_degc=60.0,
        temperature_there_degc=60.0 - margin,
    )
    sentence = words.nearest(replace(summary, smallest=near), Shown("si"), words.Clock(True, 0))
    assert f"{abs(margin):.1f} °C" in sentence
    assert state in sentence
    assert how_sure in sentence


def test_durations_and_signs():
    assert [words.duration(seconds) for seconds in (0.0, 4.24, 59.4, 60, 3599, 7500)] == [
        "0 s",
        "4.2 s",
        "59 s",
        "1 min 00 s",
        "59 min 59 s",
        "2 h 05 min",
    ]
    assert words.signed(Shown("us"), -5.0) == "−9.0 °F"
    assert words.signed(Shown("us"), 5.0) == "+9.0 °F"
    assert words.signed(Shown("us"), -0.001) == "0.0 °F"


@pytest.mark.parametrize(
    ("known", "done"),
    [
        ({"fix": "cooler with fan", "before": "carb_inlet"}, ["Fitted: cooler with fan before carb inlet."]),
        ({"fix": "sleeve before carb inlet", "before": "carb_inlet"}, ["Fitted: sleeve before carb inlet."]),
        ({"fix": "As built"}, []),
        ({}, []),
    ],
)
def test_a_fix_without_a_report_of_the_work_is_shown_as_what_was_done(known, done):
    assert sheet.fitted(known) == done


def test_two_places_beyond_their_limit_have_a_chart_each_where_there_is_height(drive):
    for height, names in ((400, ["picture", "picture_2"]), (200, ["picture"])):
        drawn = Plots(drive, Shown("si"), words.Clock(True, 120))
        picture = drawn.picture(drive.summary(), height, (), ("pump", "carb_inlet"))
        assert picture.names == names and set(names) == set(drawn.figures)
        assert len({one["text"] for one in picture.key}) == len(picture.key)
    assert len(drawn.card(drive.summary(), (), ("pump", "carb_inlet"))) == 2


def test_a_probe_in_the_outside_air_tells_its_temperature(synthetic, tmp_path):
    """Nobody noted it; the middle of what the probe read is on the sheet. A dead probe tells nothing."""
    made = folder.create(tmp_path / "drive", car.EXAMPLE.replace('role = "carburettor"', 'role = "outside_air"'), {})
    made.log_path.write_bytes(synthetic.drive().data)
    opened = session.open(made.path)
    place = next(one.name for one in opened.car.places if one.kind.outside and one.name in opened.ticks.places)
    middle = opened.temperatures()[f"{place}_degc"].median()
    rows = dict(words.conditions(opened.summary(), opened, Shown("si"), words.Clock(True, 120)))
    assert rows["Outside air"] == f"{middle:.0f} °C, measured"


def test_without_a_usable_car_file_air_is_no_fuel_and_its_units_hold(synthetic, tmp_path):
    made = folder.create(tmp_path / "drive", car.EXAMPLE, {})
    (made.path / "car.toml").write_text(car.EXAMPLE.replace("[pump]", '[pump]\nheight = "no"'))
    made.log_path.write_bytes(synthetic.drive().data)
    opened = session.open(made.path)
    assert opened.car is None and opened.units == "us"
    answer = review.make(opened).answer
    assert answer.startswith(
        "How near the fuel was to boiling is not known, because its car file cannot be used; the highest temperature was "
    )
    assert "°F" in answer and "fuel was at" not in answer


def test_the_hottest_of_a_recording_without_a_car_file_is_not_the_air():
    index = pd.to_timedelta([0, 1, 2], unit="s")
    read = pd.DataFrame({"bay_air_degc": [95.0] * 3, "ambient_degc": [99.0] * 3, "carb_inlet_degc": [60.0] * 3}, index=index)
    found = summarise(read, None, set(), 10.0)
    assert found.hottest.place == "carb_inlet" and not found.hottest_is_fuel
    assert summarise(read[["bay_air_degc"]], None, set(), 10.0).hottest.place == "bay_air"
    assert summarise(read, None, {"carb_inlet"}, 10.0).hottest_is_fuel


def test_a_review_of_a_drive_cut_while_driving_says_so_first(tmp_path, synthetic):
    """The whole drive has a stop; cut before it, the review must not read as one of the whole."""
    (tmp_path / "drive").mkdir()
    (tmp_path / "drive" / "car.toml").write_text(car.EXAMPLE)
    whole = synthetic.drive().data
    cut = whole[: len(whole) // 3]
    for data, sure in ((cut.rstrip(b"\0")[:-2], False), (cut + bytes(5000), True)):
        (tmp_path / "drive" / "wire.log").write_bytes(data)
        opened = session.open(tmp_path / "drive")
        assert opened.ending.sure is sure
        made = review.make(opened)
        assert "; the recording breaks off at " in made.sheet.headlines[0]
        assert made.sheet.headlines[0].endswith("and what followed is not known.")
        assert "Nothing calls for a change" not in " ".join(made.sheet.next_steps)
        assert opened.ending.sentence() in made.page.replace("\u00a0", " ")
