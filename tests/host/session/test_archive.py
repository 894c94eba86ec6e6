"""Many sessions: found by what happened in them, readable without this program, recomputed with the same results."""

import datetime
import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from hotfuel import session
from hotfuel.errors import InputError
from hotfuel.session import archive

duckdb = pytest.importorskip("duckdb")


def test_list_holds_the_sessions_values(filled, sessions):
    table = archive.listed(filled)
    assert len(table) == 6
    assert table["started_utc"].is_monotonic_increasing
    for row, path in zip(table.itertuples(), sessions, strict=True):
        summary = session.open(path).summary()
        assert row.hottest_place == summary.hottest.place == "pump"
        assert row.hottest_degc == pytest.approx(summary.hottest.hottest_degc)
        assert row.smallest_margin_degc == pytest.approx(summary.smallest.smallest_margin_degc)
        assert row.smallest_margin_place == summary.smallest.place
        assert pd.Timestamp(row.started_utc) == summary.started
    assert table["car"].tolist() == ["Blue saloon, road and sprint", "Heron / 2 Litre"] * 3
    assert table["places"][0].split() == ["carb_inlet", "carb_inlet_needle", "pump", "tank"]


FOUND = [
    ({"car": "heron"}, [1, 3, 5]),
    ({"fix": "heat_shield"}, [4, 5]),
    ({"fix": "t_s"}, [4, 5]),
    ({"fix": "%"}, []),
    ({"place": "pump"}, [0, 1, 2, 3, 4, 5]),
    ({"place": "pum"}, []),
    ({"hotter_than_degc": 51.0}, [3, 4, 5]),
    ({"margin_below_degc": 4.0, "car": "blue saloon"}, [4]),
]


@pytest.mark.parametrize(("wanted", "numbers"), FOUND)
def test_find(filled, wanted, numbers):
    every = archive.listed(filled)["session"].tolist()
    assert archive.find(filled, **wanted)["session"].tolist() == [every[number] for number in numbers]


def test_find_by_day(filled, synthetic):
    first = datetime.datetime.fromtimestamp(synthetic.START_WALL_S, datetime.UTC).date()
    second = first + datetime.timedelta(days=1)
    assert len(archive.find(filled, since=str(second))) == 4
    assert len(archive.find(filled, since=str(first), until=str(first))) == 2
    with pytest.raises(InputError, match="is not a day"):
        archive.find(filled, since="tomorrow-ish")


def test_readable_by_pandas_and_duckdb_without_this_program(filled, sessions):
    samples = pd.read_parquet(filled / "samples")
    assert len(samples) == 6 * 4 * 150
    first = session.open(sessions[0])
    mine = samples[(samples["session"] == archive.listed(filled)["session"][0]) & (samples["place"] == "pump")]
    np.testing.assert_allclose(mine["temperature_degc"], first.temperatures()["pump_degc"], atol=0.004)
    np.testing.assert_allclose(mine["margin_degc"], first.margins()["pump_margin_degc"], atol=0.004)
    assert (pd.DatetimeIndex(mine["time_utc"]) == first.temperatures().index).all()
    hottest = duckdb.sql(
        f"SELECT car, max(temperature_degc) m FROM read_parquet('{filled}/samples/*/*/*.parquet', hive_partitioning = true) GROUP BY car"
    )
    assert dict(hottest.fetchall())["heron-2-litre"] == pytest.approx(55.3, abs=0.02)


def test_readable_by_polars_without_this_program(filled):
    polars = pytest.importorskip("polars")
    samples = polars.scan_parquet(filled / "samples", hive_partitioning=True)
    by_car = dict(samples.group_by("car").agg(polars.col("temperature_degc").max()).collect().rows())
    assert by_car["blue-saloon-road-and-sprint"] == pytest.approx(53.3, abs=0.02)


def test_a_session_is_added_once_and_nothing_is_overwritten(filled, sessions):
    before = sorted(filled.rglob("*"))
    with pytest.raises(InputError, match="in the archive already"):
        archive.add(filled, sessions[2])
    assert sorted(filled.rglob("*")) == before


@pytest.mark.parametrize("task", [archive.listed, archive.recompute])
def test_a_missing_archive_is_one_sentence(tmp_path, task):
    with pytest.raises(InputError, match="is not an archive"):
        task(tmp_path / "nowhere")


def test_an_empty_recording_is_refused(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"")
    with pytest.raises(InputError, match="no reading"):
        archive.add(tmp_path / "archive", tmp_path)
    assert not (tmp_path / "archive").exists()


def test_an_interrupted_add_can_be_repeated(sessions, tmp_path, monkeypatch):
    def interrupt(*arguments, **options):
        raise KeyboardInterrupt

    for step in ("shutil.copyfile", "hotfuel.session.results._write"):
        with monkeypatch.context() as once, pytest.raises(KeyboardInterrupt):
            once.setattr(step, interrupt)
            archive.add(tmp_path, sessions[0])
        assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    archive.add(tmp_path, sessions[0])
    assert len(archive.listed(tmp_path)) == 1


def test_review_compare_and_archive_work_without_pyarrow(sessions, tmp_path):
    """As after a plain installation with `hotfuel[archive]`; each command in turn, in a process that cannot import it."""
    script = (
        "import json, sys\n"
        "sys.modules['pyarrow'] = None\n"
        "from hotfuel.cli.app import app\n"
        "for words in json.loads(sys.argv[1]):\n"
        "    app(words, standalone_mode=False)\n"
    )
    one, two = sessions[0], sessions[2]  # of one car
    commands = [
        ["archive", "add", str(one), "--archive", str(tmp_path / "a")],
        ["archive", "list", "--archive", str(tmp_path / "a"), "--json"],
        ["review", str(one), "--out", str(tmp_path / "r.html")],
        ["compare", f"a={one}", f"b={two}", "--out", str(tmp_path / "c.html")],
    ]
    done = subprocess.run([sys.executable, "-c", script, json.dumps(commands)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-600:]
    assert (tmp_path / "r.html").stat().st_size > 10_000
    assert (tmp_path / "c.html").stat().st_size > 10_000
    assert '"smallest_margin_degc"' in done.stdout
