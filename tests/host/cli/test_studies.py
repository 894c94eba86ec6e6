"""Compare, power and forecast as a user calls them, on sessions with a known difference."""

import json
import subprocess
import sys
import zlib

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.risk.pressure import standard_atmosphere_kpa
from written import write

PLACES = ("tank", "pump", "carb_inlet")


def record(folder, seed, cooler_degc, wall_s):
    """A session of 12 minutes (idle, then a stop) in which the carburettor inlet is cooler_degc cooler than it would be; runs differ by 1 degC."""
    rng = np.random.default_rng(seed)
    day = rng.normal(0, 1.0)
    time_s = np.arange(0.5, 720, 0.5)
    running = time_s < 360
    warm = 1 - np.exp(-time_s / 150)
    soak = np.where(running, 0.0, 8 * (1 - np.exp(-(time_s - 360) / 120)))
    degc = np.column_stack([np.full_like(warm, 30 + day), 34 + 8 * warm + day + soak, 36 + 18 * warm + day + soak - cooler_degc])
    about = {"title": "Tuesday", "ambient_degc": 27.0}
    noise = rng.normal(0, 0.05, degc.shape)
    return write(
        folder, car_file.EXAMPLE, PLACES, degc + noise, np.where(running, 750.0, 0.0), about=about, wall_s=wall_s, boot=seed
    )


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    """Four runs as it was and four with a fix worth 8 degC at the carburettor inlet, in the order ABBAABBA, one a day; all carry one title."""
    root = tmp_path_factory.mktemp("sessions")
    found = {"before": [], "fix": []}
    for day, side in enumerate(["before", "fix", "fix", "before", "before", "fix", "fix", "before"]):
        path = record(
            root / f"day{day}", seed=day + 1, cooler_degc=8.0 if side == "fix" else 0.0, wall_s=1_780_000_000 + 86400 * day
        )
        found[side].append(str(path))
    return found


def test_a_known_difference_is_found_at_its_place_and_nowhere_else(hotfuel, sessions, tmp_path):
    arguments = [f"{name}={','.join(paths)}" for name, paths in sessions.items()]
    out = tmp_path / "fix.html"
    result = hotfuel("compare", *arguments, "--question", "smallest margin at carb_inlet, hot soak", "--out", out, as_json=True)[
        "comparison"
    ]
    assert result["runs"] == {"before": 4, "fix": 4}
    primary = result["answers"][0]
    assert (primary["primary"], primary["verdict"]) == (True, "higher")
    assert primary["low_degc"] < 8.0 < primary["high_degc"]
    assert primary["high_degc"] - primary["low_degc"] < 6
    at_pump = [answer for answer in result["answers"] if answer["place"] == "pump"]
    assert at_pump
    helped = {"smallest margin": "higher"}
    assert not [answer["sentence"] for answer in at_pump if answer["verdict"] == helped.get(answer["quantity"], "lower")]
    assert 'role="img"' in out.read_text(encoding="utf-8")
    said = hotfuel("compare", *arguments)
    assert "fix" in said


def test_one_run_a_side_is_described_not_tested(hotfuel, sessions):
    result = hotfuel("compare", f"before={sessions['before'][0]}", f"fix={sessions['fix'][0]}", as_json=True)["comparison"]
    assert {answer["verdict"] for answer in result["answers"]} == {"described, not tested"}
    assert "one run" in result["finding"]


def test_forecasts_name_what_they_assume(hotfuel, sessions):
    made = hotfuel(
        "forecast",
        sessions["before"][0],
        "--cooler",
        "carb_inlet=0.6",
        "--higher",
        "1500 m",
        "--hotter",
        "15 degC",
        "--fuel",
        "D4814 A-1",
        as_json=True,
    )["forecasts"]
    assert len(made) == 4
    for one in made:
        assert one["assumptions"]
        assert one["sentences"]
    higher = next(one for one in made if "higher" in one["change"])
    expected = 4.4 * 1.5  # ASTM D4814-18 5.2.1: 4.4 degC per 1000 m
    drops = [row["margin_before_degc"] - row["margin_degc"] for row in higher["rows"] if row["margin_degc"] is not None]
    assert drops == pytest.approx([expected] * len(drops), abs=1.6)
    assert float(standard_atmosphere_kpa(0) - standard_atmosphere_kpa(1000)) == pytest.approx(11.4, abs=0.1)


def test_two_fixes_give_two_forecasts_best_first_and_one_combined(hotfuel, sessions):
    twice = ("--insulation", "carb_inlet=0.1", "--insulation", "pump=0.5", "--spacer", "pump=0.5")
    each = hotfuel("forecast", sessions["before"][0], *twice, as_json=True)["forecasts"]
    gains = [one["smallest"]["degc"]["middle"] for one in each]
    assert sorted(one["change"] for one in each) == [
        "a spacer under the pump",
        "insulation before the carb inlet",
        "insulation before the pump",
    ]
    assert gains == sorted(gains, reverse=True)
    (both,) = hotfuel("forecast", sessions["before"][0], *twice, "--together", as_json=True)["forecasts"]
    assert both["change"] == "insulation before the carb inlet, insulation before the pump and a spacer under the pump"
    assert both["smallest"]["degc"]["middle"] > gains[0]
    for again, words in (
        (("--insulation", "pump=0.4"), "insulation before the pump twice"),
        (("--cooler", "pump=0.4", "--cooler", "carb_inlet=0.4"), "takes one cooler"),
    ):
        assert words in hotfuel("forecast", sessions["before"][0], *twice, *again, "--together", code=2)


def test_a_cooler_day_and_a_lower_place_are_reported_as_such(hotfuel, sessions):
    said = hotfuel("forecast", sessions["before"][0], "--hotter", "-5 degC", "--higher", "-500 m", "--units", "us")
    assert "With a day 5 °C cooler" in said
    assert "With 500 m lower" in said
    assert "kPa" not in said


def pull(path, gain, noise, lead=""):
    rng = np.random.default_rng(zlib.crc32(path.stem.encode()))
    rpm = np.arange(2500, 5600, 50)
    torque = (400 - 60 * ((rpm - 3800) / 1800) ** 2) * gain * (1 + rng.normal(0, noise))
    path.write_text(
        lead + "RPM,Torque (lb-ft)\n" + "".join(f"{r},{t:.2f}\n" for r, t in zip(rpm, torque, strict=True)), encoding="utf-8"
    )
    return str(path)


def in_turn(each):
    """The order of the pulls a0, a1, ... and b0, b1, ...: driven in turn, without which drift looks like a gain."""
    return ",".join(name for i in range(each) for name in ((f"a{i}", f"b{i}") if i % 2 == 0 else (f"b{i}", f"a{i}")))


def test_the_power_of_a_known_gain(hotfuel, tmp_path):
    before = [pull(tmp_path / f"a{i}.csv", 1.0, 0.0015) for i in range(6)]
    after = [pull(tmp_path / f"b{i}.csv", 1.02, 0.0015, lead="\ufeff") for i in range(6)]
    order = ("--order", in_turn(6))
    result = hotfuel("power", "before=" + ",".join(before), "after=" + ",".join(after), *order, as_json=True)["power"]
    (gain,) = result["gains"]
    assert gain["low_percent"] < 2.0 < gain["high_percent"]
    assert gain["mixture"] == "not separable from mixture"
    planned = hotfuel("power", "--plan", "0.7 % at 0.5 %", as_json=True)["plan"]
    assert planned["runs_each"] == 12  # noncentral t, 90 % power


def test_power_asks_rather_than_guesses(hotfuel, tmp_path):
    before = [pull(tmp_path / f"a{i}.csv", 1.0, 0.0015) for i in range(2)]
    after = [pull(tmp_path / f"b{i}.csv", 1.02, 0.0015) for i in range(2)]
    corrected = tmp_path / "corrected.csv"
    corrected.write_text((tmp_path / "a0.csv").read_text().replace("Torque", "Torque SAE corr"))
    sides = ("before=" + ",".join(before), "after=" + ",".join(after))
    assert "compare like with like" in hotfuel("power", f"before={corrected},{before[1]}", sides[1], code=1)
    weather = ("--weather", "98 kPa, 30 degC, 50 %")
    assert "not corrected twice" in hotfuel("power", f"before={corrected}", f"after={corrected}", *weather, code=1)
    assert "a pull counts once" in hotfuel("power", f"before={before[0]},{before[0]}", sides[1], code=1)
    assert "the variants are before, after" in hotfuel("power", *sides, "--weather", "shield=98 kPa, 30 degC, 50 %", code=2)
    assert "weather is missing for after" in hotfuel("power", *sides, "--weather", "before=98 kPa, 30 degC, 50 %", code=1)
    assert "choose SAE J1349 or older standard" in hotfuel("power", *sides, "--standard", "own", code=1)
    old = hotfuel("power", *sides, *weather, "--standard", "older standard", as_json=True)["power"]
    assert old["curves"][0]["factor"] == pytest.approx(1.0828, abs=1e-4)  # by hand: 95.88 kPa dry, 30 degC


def test_the_fuels_temperature_can_be_given_with_pulls(hotfuel, tmp_path):
    before = [pull(tmp_path / f"a{i}.csv", 1.0, 0.0015) for i in range(4)]
    after = [pull(tmp_path / f"b{i}.csv", 1.007, 0.0015) for i in range(4)]
    sides = ("before=" + ",".join(before), "after=" + ",".join(after))
    fuel = ("--fuel", "before=118 degF", "--fuel", "after=74 degF")
    (gain,) = hotfuel("power", *sides, *fuel, "--order", in_turn(4), as_json=True)["power"]["gains"]
    cooler = (118 - 74) / 1.8
    assert gain["expected"]["fuel_cooler_degc"] == pytest.approx(cooler)
    per_degree, low, high = gain["gain_per_degc"]
    assert low < 0.7 / cooler < high
    assert per_degree == pytest.approx(gain["gain_percent"] / cooler)
    assert not gain["implausible"]
    assert "the variants are before, after" in hotfuel("power", *sides, "--fuel", "shield=74 degF", code=2)


def test_temperature_and_power_of_a_fix_on_one_sheet(hotfuel, sessions, tmp_path):
    variants = [f"{name}={','.join(paths)}" for name, paths in sessions.items()]
    pulls = [
        f"{name}={','.join(pull(tmp_path / f'{name}{i}.csv', gain, 0.0015) for i in driven)}"
        for name, gain, driven in (("before", 1, (0, 3, 4)), ("fix", 1.01, (1, 2, 5)))  # in turn, as their numbers show
    ]
    out = tmp_path / "both.html"
    options = ("--power", pulls[0], "--power", pulls[1], "--weather", "98 kPa, 30 degC, 50 %", "--out", out)
    result = hotfuel("compare", *variants, *options, "--units", "us", as_json=True)
    (gain,) = result["power"]["gains"]
    assert gain["low_percent"] < 1.0 < gain["high_percent"]
    text = out.read_text()
    assert "corrected by SAE J1349" in text
    assert "makes more power than before" in text
    assert "further from boiling than with before" in text
    assert "°C" not in text[text.index("Fuel, and what is missing") :]
    said = hotfuel("compare", *variants, "--power", pulls[0], "--power", pulls[1].replace("fix=", "other="), code=2)
    assert "none of the variants compared: they are before, fix" in said


def test_pulls_of_the_same_name_in_two_folders_are_two(hotfuel, tmp_path):
    names = {}
    for number, (folder, gain) in enumerate((("mon", 1.0), ("tue", 1.0), ("wed", 1.02), ("thu", 1.02))):
        (tmp_path / folder).mkdir()
        made = pull(tmp_path / f"seed{number}.csv", gain, 0.0015)
        names[folder] = tmp_path / folder / "run1.csv"
        names[folder].write_text((tmp_path / made).read_text())
    sides = (f"before={names['mon']},{names['tue']}", f"after={names['wed']},{names['thu']}")
    result = hotfuel("power", *sides, "--order", "mon/run1,wed/run1,thu/run1,tue/run1", as_json=True)["power"]
    assert list(result["mapping"]) == ["mon/run1", "tue/run1", "wed/run1", "thu/run1"]


def test_an_archive_is_filled_searched_and_recomputed(hotfuel, sessions, tmp_path):
    archive = tmp_path / "archive"
    assert len(hotfuel("archive", "add", *sessions["before"][:2], "--archive", archive, as_json=True)["added"]) == 2
    assert len(hotfuel("archive", "list", "--archive", archive, as_json=True)["sessions"]) == 2
    assert hotfuel("archive", "find", "--hotter-than", "500 degF", "--archive", archive, as_json=True)["sessions"] == []
    assert (
        len(hotfuel("archive", "find", "--place", "pump", "--car", "Blue saloon", "--archive", archive, as_json=True)["sessions"])
        == 2
    )
    # a separate process, because it starts one for every core, and those must not run the command again
    command = [sys.executable, "-m", "hotfuel", "archive", "recompute", "--archive", archive, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    assert json.loads(done.stdout)["recomputed"] == 2
    assert "Traceback" not in done.stderr
    assert "is in the archive already" in hotfuel("archive", "add", sessions["before"][0], "--archive", archive, code=1)


def test_bad_input_is_one_sentence_and_nothing_is_overwritten(hotfuel, sessions, tmp_path):
    letters = tmp_path / "letters.csv"
    letters.write_text("a,b\nx,y\n")
    kept = tmp_path / "report.html"
    kept.write_text("mine")
    said = hotfuel("power", f"a={letters}", f"b={letters}", "--out", kept, code=1)
    assert "letters.csv" in said
    assert kept.read_text() == "mine"
    said = hotfuel("compare", f"a={sessions['before'][0]}", "--out", kept, code=1)
    assert "at least two" in said
    assert kept.read_text() == "mine"
