"""Did a repair help, and what did a switch do: review and compare as a workshop calls them, on sessions with known stop, marks and difference."""

import json
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel import session
from hotfuel.report import html, review
from hotfuel.study import story
from hotfuel.study.drive import course
from hotfuel_wire import codec, framing
from written import write

PLACES = ("tank", "pump", "carb_inlet")
RUN_S, STOP_S, CRANK_S, AFTER_S = 360, 480, 4, 120
RESTART_S = RUN_S + STOP_S
WALL_S = 1_780_000_000


def marked(folder, *marks):
    """The session with marks (second, text) appended to its log."""
    with open(folder / "wire.log", "ab") as log:
        for second, text in marks:
            header = {"tick": int(2 * second), "time_ms": int(1000 * second)}
            values = {"wall_us": int((WALL_S + second) * 1e6), "text": text.encode()}
            log.write(framing.encode(codec.pack("mark", header | values)))
    return folder


def hot_stop(folder, title, *marks, ambient_degc=30.0, stop_s=STOP_S, seed=1, **about):
    """Six minutes of idle, a stop, a start: the pump passes its limit while the engine is off."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.5, RUN_S + stop_s + CRANK_S + AFTER_S, 0.5)
    stands = (time_s >= RUN_S) & (time_s < RUN_S + stop_s)
    cranks = (time_s >= RUN_S + stop_s) & (time_s < RUN_S + stop_s + CRANK_S)
    soak = np.where(time_s < RUN_S, 0.0, 24 * (1 - np.exp(-(time_s - RUN_S) / 150)))
    degc = np.column_stack([np.full_like(soak, 32.0), 42 + soak, 46 + soak / 2]) + rng.normal(0, 0.05, (len(time_s), 3))
    rpm = np.where(cranks, 240.0, np.where(stands, 0.0, 780.0))
    about = {"title": title, "ambient_degc": ambient_degc, **about}
    return marked(write(folder, car_file.EXAMPLE, PLACES, degc, rpm, about=about, wall_s=WALL_S, boot=seed), *marks)


TROUBLE = (RESTART_S + 15.0, "hard start")


@pytest.fixture(scope="module")
def monday(tmp_path_factory):
    """The complaint: a hot stop after which the engine would hardly start."""
    return hot_stop(tmp_path_factory.mktemp("complaint") / "monday", "As it came", TROUBLE)


def test_an_equally_hard_stop_without_trouble_is_reported_with_its_bound(hotfuel, monday, tmp_path):
    friday = hot_stop(tmp_path / "friday", "Line sleeved", seed=2, fix="sleeve", before="pump")
    found = hotfuel("review", friday, "--complaint", monday, as_json=True)
    judgement = found["story"]["judgement"]
    assert judgement["complaint"]["mark"] == "hard start"
    assert judgement["proof"]["shown"] is True
    assert judgement["proof"]["still_possible"] == pytest.approx(0.95)
    (restart,) = found["story"]["restarts"]
    assert restart["stopped_min"] == pytest.approx(STOP_S / 60, abs=0.05)
    assert restart["cranking_s"] == pytest.approx(CRANK_S, abs=1)
    assert restart["tries"] == 1
    assert set(restart["margins_degc"]) >= {"pump", "carb_inlet"}
    (soak,) = found["story"]["soaks"]
    assert soak["hardness"]["soak_min"] == pytest.approx(STOP_S / 60, abs=0.05)
    assert soak["hardness"]["driven_min"] == pytest.approx(RUN_S / 60, abs=0.05)
    assert soak["hardness"]["ambient_degc"] == 30.0
    text = (friday / "review.html").read_text(encoding="utf-8").replace("\u00a0", " ")  # between a number and its unit
    sheet = text[text.index('id="customer"') : text.index("Technical part")]
    for part in (
        "No trouble in 1 stop",
        "up to 95 %",
        "8 min standing after 6 min of running",
        "86 °F outside",
        "the limit is still passed",
    ):
        assert part in sheet
    assert "°C" not in sheet
    assert "No trouble in 1 stop as hard as the complaint's; so few starts prove little." in sheet.replace("&#39;", "'")
    places = re.findall(r'<tr><th scope="row">([^<]+)</th>', sheet[sheet.index("Room then") :])
    assert places[:3] == ["pump (aimed at)", "tank", "carb inlet"]
    assert 'class="chart"' in sheet
    for heading in ("Hot stops", "Restarts", "Compared with the complaint"):
        assert f"<h2>{heading}</h2>" in text
    assert 'class="across"' not in text
    opened, complaint = session.open(friday), course.of_session(session.open(monday))
    simulated = review.make(opened, "us", story.tell(opened, complaint=replace(complaint, simulated=True)))
    assert 'class="across"' in simulated.page
    assert simulated.page.count("the complaint&#39;s session is simulated, no real car") == 2
    said = hotfuel("review", friday, "--complaint", monday, "--units", "si")
    assert "30 °C outside" in said
    assert "No trouble in 1 stop" in said


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"ambient_degc": 21.0},
            "Not shown: no stop after the repair was as hard as the complaint's, because it was cooler outside.",
        ),
        ({"stop_s": 240}, "because it stood for a shorter time"),
    ],
)
def test_an_easier_stop_proves_nothing(hotfuel, monday, tmp_path, changed, words):
    since = hot_stop(tmp_path / "since", "Line sleeved", seed=2, **changed)
    found = hotfuel("review", since, "--complaint", monday, as_json=True)["story"]["judgement"]
    assert found["proof"]["shown"] is False
    assert words in " ".join(found["sentences"])
    assert "easier: " in (since / "review.html").read_text(encoding="utf-8")


def test_a_comparison_reports_each_variants_stops(hotfuel, monday, tmp_path):
    stops = [hot_stop(tmp_path / f"day{day}", f"Day {day}", seed=day) for day in (2, 3, 4)]
    again = hot_stop(tmp_path / "again", "Shielded", TROUBLE, seed=5)
    out = tmp_path / "repair.html"
    arguments = [f"complaint={monday}", f"sleeve={','.join(map(str, stops))}", f"shield={again}"]
    sleeve, shield = hotfuel("compare", *arguments, "--out", out, as_json=True)["comparison"]["judgements"]
    assert (sleeve["variant"], sleeve["proof"]["stops"], sleeve["proof"]["failures"]) == ("sleeve", 3, 0)
    assert sleeve["proof"]["still_possible"] == pytest.approx(1 - 0.05 ** (1 / 3))
    assert (shield["variant"], shield["proof"]["failures"]) == ("shield", 1)
    text = out.read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "up to 63 %" in text[: text.index("Technical part")]
    assert "<h2>Compared with the complaint</h2>" in text
    said = hotfuel("compare", *arguments)
    assert "With sleeve, compared with the complaint's stop" in said
    assert "No trouble in 3 stops" in said
    assert "The trouble came back in 1 of 1 stop." in said
    assert "86 °F outside" in said


def test_a_comparison_without_marked_trouble_claims_no_repair(hotfuel, tmp_path):
    before, after = (hot_stop(tmp_path / name, name, seed=seed) for seed, name in ((2, "before"), (3, "after")))
    assert hotfuel("compare", f"before={before}", f"after={after}", as_json=True)["comparison"]["judgements"] == []


def test_an_unusable_complaint_is_one_sentence(hotfuel, monday, tmp_path):
    friday = hot_stop(tmp_path / "friday", "Line sleeved", seed=2)
    said = hotfuel("review", friday, "--complaint", friday, code=2)
    assert "is the session under review itself" in said
    cruise = write(
        tmp_path / "cruise", car_file.EXAMPLE, PLACES, np.full((200, 3), 40.0), np.full(200, 780.0), about={"title": "Cruise"}
    )
    said = hotfuel("review", friday, "--complaint", cruise, code=1)
    assert "Cruise has no hot soak to judge a repair by" in said
    assert len(said.strip().splitlines()) == 1
    assert not (friday / "review.html").exists()


def switched(folder, cooler_degc=6.0, texts=("Switch: fan off", "Switch: fan on")):
    """An hour at one speed; from each "fan on" to the next "fan off" the carburettor inlet is cooler_degc cooler. Ten minutes each, alternating."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.5, 3600, 0.5)
    on = (time_s // 600).astype(int) % 2 == 1
    drift = 0.5 * np.sin(time_s / 500)
    degc = np.column_stack([30 + drift, 42 + drift, 55 + drift - cooler_degc * on]) + rng.normal(0, 0.1, (len(time_s), 3))
    write(
        folder,
        car_file.EXAMPLE,
        PLACES,
        degc,
        np.full(len(time_s), 2200.0),
        about={"title": "Fan", "ambient_degc": 27.0},
        wall_s=WALL_S,
    )
    return marked(folder, *((600.0 * n + 1, texts[n % 2]) for n in range(6)))


@pytest.mark.parametrize("texts", [("Switch: fan off", "Switch: fan on"), ("fan off", "FAN ON ")])
def test_something_switched_during_the_drive_is_compared_within_its_session(hotfuel, tmp_path, texts):
    sunday = switched(tmp_path / "sunday", texts=texts)
    question = ("--question", "mean at carb_inlet, drive", "--worth-having", "2 degC")
    found = hotfuel("compare", f"fan off={sunday}", f"fan on={sunday}", *question, as_json=True)["comparison"]
    assert found["runs"] == {"fan off": 3, "fan on": 3}
    first = found["answers"][0]
    assert (first["primary"], first["verdict"], first["method"]) == (
        True,
        "lower",
        "pooled t within sessions, position in the day fitted",
    )
    assert first["low_degc"] < -6.0 < first["high_degc"]
    assert first["difference_degc"] == pytest.approx(-6.0, abs=0.5)
    pump = next(a for a in found["answers"] if (a["quantity"], a["place"]) == ("mean", "pump"))
    assert abs(pump["difference_degc"]) < 1
    assert pump["verdict"] != "lower"
    assert any("cut at its marks" in line for line in found["cautions"])


def test_a_switch_without_a_mark_for_one_side_is_one_sentence(hotfuel, tmp_path):
    sunday = switched(tmp_path / "sunday")
    said = hotfuel("compare", f"fan off={sunday}", f"pump on={sunday}", code=1)
    assert 'no mark in it reads "pump on"' in said
    assert len(said.strip().splitlines()) == 1


def test_a_long_report_fits_one_page(hotfuel, monday, tmp_path):
    if html.browser() is None or shutil.which("pdftotext") is None:
        pytest.skip("printing needs Chromium and pdftotext (poppler-utils)")
    work = (
        "The line was moved off the manifold, sleeved, a shield was put between exhaust and pump, and the pump was cleaned. " * 9
    )
    friday = hot_stop(
        tmp_path / "friday", "Line sleeved", seed=2, work_done=work[:600], complaint=work[:300], customer="A. Person"
    )
    for units in ("us", "si"):
        pdf = tmp_path / f"{units}.pdf"
        hotfuel("review", friday, "--complaint", monday, "--units", units, "--pdf", pdf)
        pages = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout.split("\f")
        sheet = 0
        for there in ("No trouble in 1 stop", "What was done", "Please read", "For the customer", "Place and date"):
            assert there in pages[sheet], (units, there)
        assert "continued in the technical part" not in pages[sheet]
        assert "Technical part" in pages[sheet + 1]
    longer = (
        json.loads((friday / "session.json").read_text(encoding="utf-8"))["metadata"]["work_done"]
        + " And the tank's vent was cleared."
    )
    hotfuel("review", friday, "--about", f"work_done={longer + work}", "--pdf", tmp_path / "long.pdf")
    text = (friday / "review.html").read_text(encoding="utf-8").replace("\u00a0", " ")  # between a number and its unit
    sheet = text[text.index('id="customer"') : text.index("Technical part")]
    assert "continued in the technical part" in sheet
    assert "And the tank&#39;s vent was cleared." not in sheet
    assert "And the tank&#39;s vent was cleared." in text
    assert len(session.open(friday).metadata["work_done"]) > 1000
