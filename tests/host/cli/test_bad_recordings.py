"""Recordings that cannot count as evidence, as a recorder would leave them: each is named, and the verdict comes from the rest."""

import os
import pty
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from made_sessions import DAY_S, DRIVE, MONDAY_S, PLACES, Made, noise, write

COOLER = {"carb_inlet": -8.0}
PULLS = (("drive", 120), ("pull", 72), ("drive", 120), ("idle", 60), ("stop", 200), ("idle", 30))


def drives(folder, plan, *, drive=DRIVE, odd=None, own_degc=0.5, hourly_degc=0.0, seed=18):
    """{side: paths} of a plan such as ("ab", "ba"), one letter a run and one word a day; side b is cooler. odd: {number of a run:
    what differs in it}."""
    random, sides, number = np.random.default_rng(seed), {}, 0
    for day, letters in enumerate(plan):
        for hour, letter in enumerate(letters):
            more = {
                "start_s": MONDAY_S + DAY_S * day + 3600 * hour,
                "change_degc": COOLER if letter == "b" else {},
                "offset_degc": noise(random, 0.4, own_degc, hourly_degc * hour),
                "drive": drive,
                "title": f"run {number}",
                **(odd or {}).get(number, {}),
            }
            sides.setdefault(letter, []).append(str(write(folder / f"run{number}", Made(**more), random, number + 1)))
            number += 1
    return sides


def arguments(sides, names=("as built", "cooler")):
    return [f"{name}={','.join(paths)}" for name, paths in zip(names, sides.values(), strict=True)]


@pytest.mark.slow
def test_parked_cut_short_and_swapped_runs_are_named_and_the_rest_decide(hotfuel, tmp_path):
    odd = {
        2: {"drive": (("idle", 682),)},
        4: {"drive": (("drive", 100),)},
        7: {"read_by": PLACES[::-1]},
    }
    sides = drives(tmp_path, ("a", "b") * 5, drive=PULLS, odd=odd)
    result = hotfuel("compare", *arguments(sides), "--fix", "cooler=cooler before carb_inlet", as_json=True)["comparison"]
    first = result["answers"][0]
    assert (first["place"], first["phase"], first["verdict"]) == ("carb_inlet", "full-throttle pull", "lower")
    assert first["low_degc"] < COOLER["carb_inlet"] < first["high_degc"]
    assert "4 runs with cooler against 3 with as built" in first["sentence"]
    bad = "\n".join(result["bad_runs"])
    assert "run 2 was never driven, and the other runs were: it is left out of every answer." in bad
    assert (
        "run 4 was broken off before its drive, full-throttle pull, idle, hot soak and restart were whole: it is left out" in bad
    )
    assert (
        "run 7 reads its tank and carb inlet the other way round than every other run of its side: were the probes swapped?"
        in bad
    )
    assert len(result["bad_runs"]) == 3


@pytest.mark.slow
def test_a_baseline_that_always_came_first_is_judged_with_pairs_from_the_archive(hotfuel, tmp_path):
    """Twelve runs with nothing changed, on three days: nine pairs. Without them no verdict; with them a wider interval and the reason."""
    pytest.importorskip("duckdb")
    short = (("drive", 150),)
    kept = drives(tmp_path / "kept", ("aaaa",) * 3, drive=short, hourly_degc=0.4, seed=19)
    archive = tmp_path / "archive"
    hotfuel("archive", "add", *kept["a"], "--archive", archive)
    sides = drives(tmp_path / "now", ("ab",) * 4, drive=short, hourly_degc=0.4)
    options = (*arguments(sides), "--fix", "cooler=cooler before carb_inlet", "--phase", "drive")
    without = hotfuel("compare", *options, as_json=True)["comparison"]["answers"][0]
    assert (without["verdict"], without["low_degc"]) == ("no verdict", None)
    said = hotfuel("compare", *options, "--archive", archive)
    assert "The archive holds 9 pairs of runs of one day with the same parts fitted on Trial car." in said
    found = hotfuel("compare", *options, "--archive", archive, as_json=True)["comparison"]
    first = found["answers"][0]
    assert first["verdict"] == "lower"
    assert first["low_degc"] < COOLER["carb_inlet"] < first["high_degc"]
    assert "widened by 9 archived pairs" in first["method"]
    assert any("the interval is widened by what this car's archived pairs" in line for line in found["cautions"])


@pytest.mark.slow
def test_the_archive_asks_a_person_at_a_terminal_once_what_was_fitted(hotfuel, tmp_path):
    pytest.importorskip("duckdb")
    (path,) = drives(tmp_path, ("a",), drive=(("drive", 60),))["a"]
    archive = tmp_path / "archive"

    def at_a_terminal(answer, archive):
        command = [sys.executable, "-m", "hotfuel", "archive", "add", path, "--archive", str(archive)]
        master, slave = pty.openpty()
        process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, close_fds=True)
        os.close(slave)
        seen = b""
        try:
            while True:
                read = os.read(master, 1000)
                if not read:
                    break
                seen += read
                if answer and b"as built)" in seen and seen.rstrip().endswith(b":"):
                    os.write(master, answer + b"\n")
                    answer = b""
        except OSError:  # the terminal's other end is closed
            pass
        os.close(master)
        assert process.wait(60) == 0, seen
        return seen.decode()

    assert "run 0: what was fitted, and where?" in at_a_terminal(b"cooler before carb_inlet", archive)
    rows = hotfuel("archive", "list", "--archive", archive, as_json=True)["sessions"]
    assert [row["fix"] for row in rows] == ["cooler"]
    assert "what was fitted" not in at_a_terminal(b"", tmp_path / "another")


def test_a_table_has_the_units_that_were_asked_for(hotfuel, tmp_path):
    (path,) = drives(tmp_path, ("a",), drive=(("drive", 30),))["a"]
    for units in ("si", "us"):
        hotfuel("decode", path, "--units", units, "--out", tmp_path / f"{units}.csv")
    si, us = (pd.read_csv(tmp_path / f"{units}.csv") for units in ("si", "us"))
    assert not [name for name in us.columns if name.endswith(("_degc", "_kpa"))]
    np.testing.assert_allclose(us["pump_degf"], si["pump_degc"] * 1.8 + 32, atol=0.02)
    for name in ("margin", "uncertainty"):
        np.testing.assert_allclose(us[f"pump_{name}_degf"], si[f"pump_{name}_degc"] * 1.8, atol=0.02)
    np.testing.assert_allclose(us["pump_limit_degf"], si["pump_limit_degc"] * 1.8 + 32, atol=0.02)
    np.testing.assert_allclose(us["pump_pressure_psi"], si["pump_pressure_kpa"] / 6.894757, atol=0.002)
    assert 'units "uk" are not known' in hotfuel("decode", path, "--units", "uk", "--out", tmp_path / "uk.csv", code=None)
