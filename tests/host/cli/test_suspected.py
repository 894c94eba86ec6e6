"""A probe that may not have read the fuel, though nothing proves it: said where the answer rests on it, by review, archive and compare."""

import re

import numpy as np
import pytest
from hotfuel import car as car_file
from written import write

PLACES = ["tank", "pump", "carb_inlet"]
TIMES = np.arange(0, 1200, 0.5)
BOX = 30 + TIMES / 400  # the amplifiers become warmer by 3 degC
WARM = 20 * np.sin(TIMES / 150) ** 2
SUSPECT = "the probe may not have read the fuel at the pump for all of the 20 minutes (it kept to its amplifier's own temperature, as a shorted lead does)"


def drive(folder, *, near_the_box=True, inlet_degc=45.0, boot=1, about=None):
    """20 min of driving; the pump follows the box to a tenth of a degree, as a shorted lead nearly does, and as a place beside the box may."""
    pump = BOX + 0.1 * np.sin(TIMES / 90) if near_the_box else 40 + WARM
    degc = np.stack([np.full(len(TIMES), 35.0), pump, inlet_degc + WARM], axis=1)
    degc += 0.05 * np.random.default_rng(boot).standard_normal(degc.shape)
    engine = np.where(TIMES < 60, 0.0, 2500.0)
    write(
        folder, car_file.EXAMPLE, PLACES, degc, engine, cold_degc=BOX, boot=boot, wall_s=1_780_000_000 + 7200 * boot, about=about
    )
    return folder


def test_review_says_it_in_its_first_sentence_and_in_its_fields(hotfuel, tmp_path):
    said = hotfuel("review", drive(tmp_path / "a"), "--out", tmp_path / "a.html")
    assert f"; {SUSPECT}. " in said.splitlines()[0]
    page = re.sub(r"\s+", " ", (tmp_path / "a.html").read_text(encoding="utf-8").replace("&#39;", "'"))
    heading = re.search(r"<h1>(.*?)</h1>", page)[1]
    assert f"; {SUSPECT}." in heading.replace("\N{NO-BREAK SPACE}", " ")
    assert "Warm the tip of the probe at the pump by hand: its reading must rise." in page
    assert "Nothing calls for a change" not in page
    told = hotfuel("review", tmp_path / "a", "--out", tmp_path / "a.html", as_json=True)
    (one,) = told["suspected"]
    assert one["place"] == "pump" and one["why"] == "it kept to its amplifier's own temperature, as a shorted lead does"
    assert one["start"].startswith("2026-05-28T22:26:40") and one["end"] > one["start"]
    pump = told["summary"]["places"]["pump"]
    assert pump["suspected"] == one["why"] and pump["suspected_s"] == pytest.approx(1199, abs=2)
    assert told["summary"]["places"]["tank"]["suspected"] == "" and told["summary"]["places"]["tank"]["suspected_s"] == 0


def test_nothing_is_said_of_a_probe_that_is_not_suspected(hotfuel, tmp_path):
    folder = drive(tmp_path / "a", near_the_box=False)
    assert "may not have read" not in hotfuel("review", folder, "--out", tmp_path / "a.html")
    assert hotfuel("review", folder, "--out", tmp_path / "a.html", as_json=True)["suspected"] == []


def test_archive_names_it_beside_the_smallest_margin(hotfuel, tmp_path):
    pytest.importorskip("duckdb")
    where = tmp_path / "archive"
    hotfuel("archive", "add", drive(tmp_path / "a", about={"fix": "shield"}), "--archive", where)
    said = hotfuel("archive", "list", "--archive", where)
    assert re.search(r"smallest margin .* \(pump perhaps not read for 20 min 00 s: see its review\);", said)
    (row,) = hotfuel("archive", "list", "--archive", where, as_json=True)["sessions"]
    assert row["suspected_places"] == "pump" and row["suspected_s"] == pytest.approx(1199, abs=2) and row["unread_places"] is None
    hotfuel("archive", "page", "--archive", where)
    page = (where / "notebook.html").read_text(encoding="utf-8")
    assert "(pump perhaps not read)</p>" in page and "; pump perhaps not read</td>" in page


def test_compare_says_it_behind_the_answer_that_rests_on_it(hotfuel, tmp_path):
    bare = [drive(tmp_path / f"b{n}", near_the_box=False, boot=n) for n in (1, 3, 5)]
    shield = [drive(tmp_path / f"s{n}", boot=n) for n in (2, 4, 6)]
    sides = (f"bare={','.join(map(str, bare))}", f"shield={','.join(map(str, shield))}")
    rests = (
        "That rests on the probe at the pump, which may not have read the fuel in s2, s4 and s6 "
        "(it kept to its amplifier's own temperature, as a shorted lead does): look at it before you rely on this."
    )
    first = hotfuel(
        "compare", *sides, "--fix", "shield=sleeve before pump", "--phase", "drive", "--out", tmp_path / "c.html"
    ).splitlines()[0]
    answer, _, rest = first.partition(". ")
    assert "the fuel at the pump" in answer
    assert rest.index(rests) < 400
    page = re.sub(r"\s+", " ", (tmp_path / "c.html").read_text(encoding="utf-8"))
    assert re.search(r"<h1>Shield lowered the fuel at the pump by [^<]*, if the probe there reads right\.</h1>", page)
    elsewhere = hotfuel("compare", *sides, "--fix", "shield=sleeve before carb_inlet", "--phase", "drive")
    assert "That rests on the probe" not in elsewhere.splitlines()[0]
    assert "may not have read the fuel at the pump: its probe's reading was suspect" in elsewhere
