"""Pulls from the command line: several in one file, divided between variants, columns by file, and the messages for wrong options."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hotfuel.cli.shared_pulls import Chosen, chosen
from hotfuel.errors import UsageError

sys.path.insert(0, str(Path(__file__).parents[1] / "study" / "driving"))

from pull_files import LBFT_NM, RPM, SEVERAL, torque_nm, write


def day(folder, gain=2.0, order="bvvbbv", head="Run,RPM,Torque (lb-ft)\n", name="day.csv"):
    """Six pulls stacked in one file: b as it was and v with `gain` per cent more, drifting by 0.2 % from pull to pull."""
    random = np.random.default_rng(2)
    rows = []
    for number, letter in enumerate(order, start=1):
        level = (1 + random.normal(0, 0.2) / 100) * (1 + gain * (letter == "v") / 100)
        rows += [f"{number},{r:.0f},{t * level / LBFT_NM:.3f}" for r, t in zip(RPM, torque_nm(0), strict=True)]
    path = folder / name
    path.write_text(head + "\n".join(rows), encoding="utf-8")
    return path


def test_pulls_of_one_file_are_divided_by_their_numbers(hotfuel, tmp_path):
    path = day(tmp_path)
    result = hotfuel("power", f"before={path}:1,4-5", f"cooler={path}:2-3,6", as_json=True)["power"]
    (gain,) = result["gains"]
    assert gain["verdict"] == "higher"
    assert gain["low_percent"] < 2.0 < gain["high_percent"]
    assert result["order_by"] == "the running numbers in the files"
    assert result["units"] == "us"
    for key in ("peak_gain_kw", "peak_gain_nm", "mean_gain_kw", "mean_gain_nm"):
        value, low, high = gain[key]
        assert low < value < high
    assert gain["mean_gain_kw"][0] == pytest.approx(0.02 * result["said"][0]["mean_power_kw"], rel=0.25)
    said = hotfuel("power", f"before={path}:1,4-5", f"cooler={path}:2-3,6")
    first = said.splitlines()[0]
    assert first.startswith("cooler makes more power than before: +")
    assert " hp (+" in first
    assert said.index("Read from:") > said.index("peak power")


def test_the_list_shows_what_a_file_holds(hotfuel, tmp_path):
    path = write(tmp_path / "day.txt", SEVERAL["workbook, one sheet a pull"]())
    told = hotfuel("power", "--list", path)
    for number in (3, 4, 7):
        assert f"  {number}  day Messung {number}: 2500 to 6000 rpm" in told
    assert 'rpm from "Drehzahl (1/min)"' in told
    (held,) = hotfuel("power", "--list", path, as_json=True)["files"].values()
    assert [one["number"] for one in held] == [3, 4, 7]
    assert held[0]["weather"]["pressure_kpa"] == pytest.approx(98.54)


def test_pulls_one_variant_after_the_other_give_the_trend_and_no_verdict(hotfuel, tmp_path):
    path = day(tmp_path, order="bbbvvv")
    said = hotfuel("power", f"before={path}:1-3", f"cooler={path}:4-6")
    assert "that may not be its doing: all pulls of one side came before all of the other" in said.splitlines()[0]
    assert "To decide it, pull in this order" in said


def test_the_order_may_be_given_by_numbers(hotfuel, tmp_path):
    path = day(tmp_path, order="bbbvvv")
    sides = (f"before={path}:1-3", f"cooler={path}:4-6")
    result = hotfuel("power", *sides, "--order", "1,4,5,2,3,6", as_json=True)["power"]
    assert result["order_by"] == "the order given"
    assert result["gains"][0]["verdict"] == "higher"


def test_columns_and_units_by_file(hotfuel, tmp_path):
    plain = day(tmp_path)
    odd = day(tmp_path, head="Run,x,y\n", name="odd.csv")
    refused = hotfuel("power", f"before={plain}:1", f"cooler={odd}:2", code=1)
    assert "--column rpm=HEADING" in refused
    own = ("--column", "odd.csv:rpm=x", "--column", "odd.csv:torque=y", "--unit", "odd.csv:torque=lb-ft")
    (gain,) = hotfuel("power", f"before={plain}:1,4", f"cooler={odd}:2,3", *own, as_json=True)["power"]["gains"]
    assert gain["gain_percent"] == pytest.approx(2, abs=0.5)


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("before=day.csv:1", "cooler=day.csv:9"), 1, "day.csv has no pull 9: it has 1, 2, 3, 4, 5, 6"),
        (("before=day.csv:1", "cooler=day.csv:6-2"), 2, "write the smaller number first"),
        (("before", "cooler=day.csv:2"), 2, "is not NAME=FILE"),
        (("before=day.csv:1", "cooler=day.csv:2", "--column", "power=Leistung"), 1, "(--column)"),
        (("before=day.csv:1", "cooler=day.csv:2", "--column", "boost=x"), 2, '--column "boost=x" is for "boost"'),
        (("before=day.csv:1", "cooler=day.csv:2", "--unit", "other.csv:rpm=rpm"), 2, '--unit is for "other.csv"'),
        (("before=day.csv:1", "cooler=day.csv:2", "--band", "low"), 2, '--band "low"'),
        (("before=day.csv:1", "cooler=day.csv:2", "--band", "1000 to 9000 rpm"), 1, "(--band): the pulls share 2500 to 6000"),
        (("--list",), 2, "hotfuel power --list day.csv"),
        (("before=day.csv:1", "cooler=day.csv:2", "--fuel", "cooler=74"), 2, '--fuel "74" has no unit'),
        (("before=day.csv:1", "cooler=day.csv:2", "--weather", "98, 30 degC, 50 %"), 2, '--weather "98" has no unit'),
        (
            ("before=day.csv:1", "cooler=day.csv:2", "--weather", "9 kPa, 30 degC, 50 %"),
            2,
            '--weather "9 kPa, 30 degC, 50 %": an air pressure',
        ),
        (("before=day.csv:1", "cooler=day.csv:2", "--order", "1,3"), 1, "every pull once (--order)"),
    ],
)
def test_a_wrong_option_is_named_as_it_was_typed(hotfuel, tmp_path, monkeypatch, arguments, code, words):
    day(tmp_path)
    monkeypatch.chdir(tmp_path)
    said = hotfuel("power", *arguments, code=code)
    assert words in said
    assert len(said.strip().splitlines()) == 1


def test_selection():
    assert chosen(["a=x.csv:1,4-6,y.csv"])["a"] == [Chosen(Path("x.csv"), (1, 4, 5, 6)), Chosen(Path("y.csv"))]
    assert chosen(["a=x.csv,y.csv:2", "a=z.csv"])["a"] == [
        Chosen(Path("x.csv")),
        Chosen(Path("y.csv"), (2,)),
        Chosen(Path("z.csv")),
    ]
    assert chosen([r"a=C:\pulls\run1.csv"])["a"] == [Chosen(Path(r"C:\pulls\run1.csv"))]
    with pytest.raises(UsageError, match="NAME=FILE"):
        chosen(["a="])
