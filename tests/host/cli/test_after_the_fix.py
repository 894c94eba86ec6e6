"""After the fix, as a user does it: a forecast stored, the session with the fix added, the comparison with the forecast, and the
next forecast from the user's own history."""

import json
import shutil
from dataclasses import replace

import pytest
from hotfuel.simulator.scenarios import QUEUE, Cooler, Fixes
from test_line import BARE, recorded

pytest.importorskip("duckdb")
COOLER = ("--cooler", "carb_inlet=8 W/K")


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    """(without, with a cooler before the inlet) of the simulated car, two days apart."""
    root = tmp_path_factory.mktemp("fixed")
    bare = replace(QUEUE, variation=0.0, body=BARE)
    first, _ = recorded(root / "sunday", bare)
    second, _ = recorded(
        root / "tuesday", replace(bare, fixes=Fixes(cooler=Cooler(fan=True)), ambient_degc=QUEUE.ambient_degc - 2)
    )
    said = json.loads((second / "session.json").read_text())
    said["metadata"] |= {"fix": "cooler", "before": "carb_inlet"}
    (second / "session.json").write_text(json.dumps(said))
    return first, second


def test_a_forecast_is_stored_compared_with_the_result_and_improves_the_next(hotfuel, sessions, tmp_path):
    first, second = sessions
    archive = tmp_path / "archive"
    assert "kept: " in hotfuel("forecast", first, *COOLER, "--keep")
    hotfuel("archive", "add", first, "--archive", archive)
    said = hotfuel("archive", "add", second, "--archive", archive, as_json=True)
    assert said["failed"] == []
    assert "a cooler before the carb inlet" in said["came"][0]
    (kept,) = (archive / "outcomes").glob("*.json")
    came = json.loads(kept.read_text())["came"]
    assert kept.stem == said["added"][0]
    assert {o["told"]["place"] for o in came["outcomes"]} >= {"tank", "pump", "carb_inlet"}
    page = tmp_path / "tuesday.html"
    shown = hotfuel("review", second, "--forecast", first, "--out", page)
    assert said["came"][0] in shown
    written = page.read_text()
    assert "What was forecast, and what came" in written
    assert written.count("forecast ") >= len(came["outcomes"])
    plain = hotfuel("forecast", first, *COOLER, as_json=True)["forecasts"][0]
    mine = hotfuel("forecast", first, *COOLER, "--archive", archive, as_json=True)
    assert mine["own"]["cooler"]["fixes"] == 1
    inlet = [next(row for row in one["rows"] if row["place"] == "carb_inlet") for one in (plain, mine["forecasts"][0])]
    assert inlet[0]["running_degc"] != inlet[1]["running_degc"]
    assert "Cooler: from 1 of your own fix, weight 0." in hotfuel("forecast", first, *COOLER, "--archive", archive)


@pytest.mark.parametrize(
    ("arguments", "said", "code"),
    [
        (("forecast", "--keep"), "name the fix that will be fitted", 2),
        (("forecast", "--hotter", "5 degC", "--keep"), "is not a fix", 1),
        (("review", "--forecast"), "no forecast was kept with", 1),
    ],
)
def test_what_cannot_be_stored_or_compared_is_reported(hotfuel, sessions, tmp_path, arguments, said, code):
    command, *rest = arguments
    more = [*rest, sessions[1]] if command == "review" else rest
    target = ("--out", tmp_path / "x.html") if command == "review" else ()
    assert said in hotfuel(command, sessions[0], *more, *target, code=code)


def test_a_damaged_file_of_forecasts_is_named_and_costs_no_recording(hotfuel, sessions, tmp_path):
    first, second = tmp_path / "first", sessions[1]
    shutil.copytree(sessions[0], first)
    (first / "forecasts.json").write_text("{", encoding="utf-8")
    said = hotfuel("review", second, "--forecast", first, "--out", tmp_path / "r.html", code=1)
    assert "forecasts.json is damaged and was left out; the recording itself does not depend on it." in said


def test_a_forecast_on_winter_fuel_begins_with_what_is_assumed_and_offers_the_summers(hotfuel, sessions, tmp_path):
    """A shop saw sleeves and shields ranked, and nothing of the fuel, the cheapest of all."""
    first, _ = sessions
    head, _, rest = (first / "car.toml").read_text(encoding="utf-8").partition("[fuel]")
    (tmp_path / "winter.toml").write_text(f'{head}[fuel]\nclass = "D4814 E-5"\n{rest[rest.index("[tank]") :]}', encoding="utf-8")
    said = hotfuel("forecast", first, "--car", tmp_path / "winter.toml")
    assert said.startswith("These numbers rest on an assumed fuel: the worst that its class allows.")
    assert "a less volatile fuel, of class D4814 A-1: " in said and "sold by season and place" in said
    told = hotfuel(
        "forecast", first, "--car", tmp_path / "winter.toml", "--fuel", "half D4814 E-5 and half D4814 A-1", as_json=True
    )
    assert told["assumed_fuel"].endswith(
        "; 50 % D4814 E-5 and 50 % D4814 A-1 is an assumed fuel: a blend that was worked out, not measured."
    )
    assert told["forecasts"][0]["smallest"]["degc"]["middle"] > 3
