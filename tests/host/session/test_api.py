"""The API page and its worked analysis: what it prints agrees with the session."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from hotfuel import car, session
from hotfuel.session import folder

API = Path(__file__).parents[3] / "host" / "api"


def module(name):
    spec = importlib.util.spec_from_file_location(f"api_{name}", API / f"{name}.py")
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


def test_the_worked_analysis_agrees_with_the_summary(tmp_path, synthetic):
    made = synthetic.Recording()
    for tick in range(300):
        if tick % 50 == 1:
            made.anchor(tick * 0.2, synthetic.START_WALL_S + tick * 0.2)
        made.reading(tick * 0.2, (30, 40 + min(tick, 200) / 4, 44))
    drive = folder.create(tmp_path / "drive", car.EXAMPLE, {})
    drive.log_path.write_bytes(made.data)
    table = module("example").analysis(str(drive.path))
    summary = session.open(drive.path).summary()
    assert list(table.index) == ["tank", "pump", "carb_inlet", "carb_inlet_needle"]
    for place, row in table.iterrows():
        found = summary.places[place]
        # the summary's is from means over a few seconds, which the worked analysis does without
        least = np.nanmin(session.open(drive.path).margin_table[place].margin_degc)
        assert row["smallest_margin_degc"] == pytest.approx(least)
        assert found.smallest_margin_degc == pytest.approx(least, abs=5)
        if np.isfinite(row["hottest_degc"]):
            assert row["hottest_degc"] == pytest.approx(found.hottest_degc, abs=0.01)
    assert table.loc["pump", "minutes_beyond"] == pytest.approx(summary.places["pump"].beyond_limit_s / 60, abs=0.01)
    assert table.loc["pump", "minutes_beyond"] > 0.1


@pytest.mark.slow
def test_every_page_of_the_api_is_written(tmp_path):
    pytest.importorskip("pdoc")
    make = module("make")
    written = {str(path.relative_to(tmp_path)) for path in make.make(tmp_path)}
    assert {name.replace(".", "/") + ".html" for name in make.MODULES} | {"example.html", "index.html"} <= written
    page = (tmp_path / "hotfuel/session/recording.html").read_text(encoding="utf-8")
    for call in ("temperatures", "margins", "alarms", "gaps", "events", "summary"):
        assert f'id="Session.{call}"' in page
