"""A drive on which the pressure left the pump no limit: page, sheet, story and terminal begin with that, whatever margin other places have."""

import re

import pytest
from hotfuel import car, session
from hotfuel.cli.shared import findings
from hotfuel.report import review, words
from hotfuel.report.story_words import sentences
from hotfuel.risk.level import Level
from hotfuel.session import folder
from hotfuel.study import story
from hotfuel.units import Shown

HIGH = car.EXAMPLE.replace('altitude = "600 m"', 'altitude = "4300 m"').replace('units = "us"', 'units = "si"')


def drive(path, synthetic, launches_g, lift="0.3 m"):
    text = HIGH.replace('acceleration = "0 g"', f'acceleration = "{launches_g} g"').replace('lift = "0.3 m"', f'lift = "{lift}"')
    made = folder.create(path / "pass", text, {"utc_offset_min": 0})
    log = synthetic.Recording()
    log.anchor(0.0)
    for tick in range(300):
        log.reading(tick * 0.2, (20.0, 24.0, 26.0))
    made.log_path.write_bytes(log.data)
    return session.open(made.path)


def test_too_low_a_pressure_comes_first(tmp_path, synthetic):
    found = drive(tmp_path, synthetic, 1.5)
    summary = found.summary()
    assert summary.smallest is not None, "tank and needle have a margin left"
    assert summary.smallest.smallest_margin_degc > 0
    without = summary.without_limit
    assert (without.place, without.no_limit) == ("pump", Level.LOW_PRESSURE)
    assert without.no_limit_s == pytest.approx(60, abs=1)
    assert 0 < without.no_limit_kpa < 25
    text = words.nearest(summary, Shown("si"), words.Clock(True, 0))
    assert text.startswith("At the pump, from ")
    assert "counts as beyond the limit" in text.split(". ")[0]
    assert "Where there was a limit" in text
    page = review.render(found)
    head = page[page.index("Smallest margin to boiling") : page.index("Place by place")]
    assert "none left" in head
    assert "under 25 kPa" in head
    assert "1 min 00 s" in head.replace("59.8 s", "1 min 00 s"), "time beyond the limit"
    assert page.count("flow: where nothing measures it") == 1, "what the limits assume is in the technical part"
    told = story.tell(found)
    assert "At the pump" in sentences(told, Shown("si"))[0] or "at the pump" in sentences(told, Shown("si"))[0]
    assert "under 25 kPa" in sentences(told, Shown("si"))[0]
    assert any(phase.places["pump"].no_limit_s > 50 and phase.places["pump"].act_s > 50 for phase in told.phases)
    us = review.render(found, "us")
    assert "under 3.6 psi" in us[us.index("Smallest margin to boiling") : us.index("Place by place")]
    assert not re.search(r"\d kPa", re.sub(r"<svg.*?</svg>", "", us[: us.index("How it was measured")], flags=re.DOTALL))
    lines = findings(found, Shown("si"))
    assert "under 25 kPa" in lines[1]
    assert any("pump was beyond its limit" in line for line in lines)
    assert summary.as_dict()["without_limit"]["place"] == "pump"
    assert summary.as_dict()["without_limit"]["no_limit"] == "pressure too low for a limit (under 25 kPa)"
    assert summary.as_dict()["places"]["tank"]["no_limit"] == ""


def test_an_impossible_pressure_comes_before_a_low_one(tmp_path, synthetic):
    found = drive(tmp_path, synthetic, 3.0)
    assert found.summary().without_limit.no_limit == Level.IMPOSSIBLE_PRESSURE
    assert "check the car file" in sentences(story.tell(found), Shown("si"))[0]


def test_an_ordinary_drive_has_none(tmp_path, synthetic):
    found = drive(tmp_path, synthetic, 0)
    assert found.summary().without_limit is None
    assert "none left" not in review.render(found)
