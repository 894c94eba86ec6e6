"""Exports hold what the session holds, and a place that cannot be written loses nothing."""

import csv

import numpy as np
import pandas as pd
import pytest
from hotfuel import session
from hotfuel.errors import InputError
from hotfuel.session import export
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays


@pytest.fixture(scope="module")
def table(drive):
    return export.table(drive)


@given(arrays.arrays(float, st.integers(0, 50), elements=st.floats(-30000, 30000) | st.just(float("nan"))))
def test_the_grid(values):
    stored = export.on_grid(values)
    assert stored.dtype == np.float32
    np.testing.assert_array_equal(np.isnan(stored), np.isnan(values))
    known = np.isfinite(values)
    # half a step, and float32's own rounding
    assert np.all(np.abs(stored[known] - values[known]) <= 0.5 / 128 + np.abs(values[known]) * 2.0**-24)
    assert np.all(stored[known] * 128 == np.rint(stored[known] * 128))


def test_every_column_names_its_unit(table):
    for name in table.columns:
        assert export.unit_of(name) or name.endswith(("_state", "_reason", "ignition", "running")), name
        assert export.comment_of(name) or name in ("engine_rpm", "battery_v"), name


def test_csv(drive, table, tmp_path):
    path = export.write(drive, tmp_path / "out.csv")
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(table)
    assert list(rows[0]) == ["time_utc", *table.columns]
    assert pd.Timestamp(rows[7]["time_utc"]) == table.index[7]
    for name in table.columns:
        read = np.array([float(row[name]) if row[name] else np.nan for row in rows])
        np.testing.assert_allclose(read, table[name].to_numpy(dtype=float), atol=0.00501)


def test_parquet(drive, table, tmp_path):
    path = export.write(drive, tmp_path / "out.parquet")
    read = pd.read_parquet(path).set_index("time_utc")
    assert list(read.columns) == list(table.columns)
    assert (read.index == table.index).all()
    for name in table.columns:
        np.testing.assert_allclose(read[name].to_numpy(dtype=float), table[name].to_numpy(dtype=float), atol=0.5 / 128 + 1e-6)
    import pyarrow.parquet

    schema = pyarrow.parquet.read_schema(path)
    assert schema.metadata[b"hotfuel.fix"] == b"none"
    assert schema.metadata[b"hotfuel.car_file"].decode() == drive.car_text
    assert schema.field("pump_pressure_kpa").metadata[b"unit"] == b"kPa"


def test_missing_is_null_for_other_programs(tmp_path, synthetic):
    duckdb = pytest.importorskip("duckdb")
    made = synthetic.Recording()
    made.reading(0.0, (30, -0x3FFFFFFF, 50))
    made.reading(0.2, (30, 40, 50))
    (tmp_path / "wire.log").write_bytes(made.data)
    path = export.write(session.open(tmp_path), tmp_path / "out.parquet")
    most, known = duckdb.sql(f"SELECT max(pump_degc), count(pump_degc) FROM '{path}'").fetchall()[0]
    assert most == pytest.approx(40, abs=0.02)
    assert known == 1


def test_mdf_by_asammdfs_own_reader(drive, table, tmp_path):
    asammdf = pytest.importorskip("asammdf")
    path = export.write(drive, tmp_path / "out.mf4")
    with asammdf.MDF(path) as file:
        assert file.version == "4.10"
        assert file.header.start_time == table.index[0].to_pydatetime()
        for name in table.columns:
            signal = file.get(name)
            np.testing.assert_array_equal(signal.samples, table[name].to_numpy())
            assert signal.unit == export.unit_of(name)
            assert signal.comment == export.comment_of(name)
        np.testing.assert_allclose(file.get("pump_degc").timestamps, (table.index - table.index[0]).total_seconds(), atol=1e-6)
        marks = file.get("mark")
        assert [bytes(text).rstrip(b"\0") for text in marks.samples] == [b"stopped at the top"]
        assert marks.timestamps == pytest.approx([450], abs=0.01)


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_without_wall_time_the_first_column_is_seconds(tmp_path, synthetic, ending):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(10.0, anchored=False).data)
    path = export.write(session.open(tmp_path), tmp_path / f"out.{ending}")
    read = pd.read_csv(path) if ending == "csv" else pd.read_parquet(path)
    assert read.columns[0] == "time_s"
    np.testing.assert_allclose(read["time_s"], np.arange(50) * 0.2, atol=1e-3)


@pytest.mark.parametrize("ending", ["csv", "parquet", "mf4"])
def test_an_empty_session(tmp_path, ending):
    (tmp_path / "wire.log").write_bytes(b"")
    found = session.open(tmp_path)
    if ending == "mf4":
        pytest.importorskip("asammdf")
        with pytest.raises(InputError, match="no reading"):
            export.write(found, tmp_path / "out.mf4")
        assert not list(tmp_path.glob("out*"))
    else:
        assert export.write(found, tmp_path / f"out.{ending}").stat().st_size > 0


def test_another_file_ending_is_one_sentence(drive, tmp_path):
    with pytest.raises(InputError, match=r'ends in ".xlsx": allowed are .csv, .parquet, .mf4'):
        export.write(drive, tmp_path / "out.xlsx")


def test_a_place_that_cannot_be_written_keeps_the_old_file(drive, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        export.write(drive, tmp_path / "file" / "out.csv")
    old = tmp_path / "out.csv"
    old.write_text('"time_utc"old')

    def fails(*_):
        raise OSError(28, "No space left on device")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(export, "write_csv", fails)
        with pytest.raises(InputError, match="No space left on device"):
            export.write(drive, old)
    assert old.read_text() == '"time_utc"old'
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["file", "out.csv"]


@pytest.mark.parametrize("ending", ["parquet", "mf4", "csv"])
def test_our_own_file_is_overwritten_and_another_programs_is_not(drive, tmp_path, ending):
    if ending == "mf4":
        pytest.importorskip("asammdf")
    target = tmp_path / f"sunday.{ending}"
    first = export.write(drive, target).read_bytes()
    export.write(drive, target)
    assert len(target.read_bytes()) == len(first)
    target.write_bytes(b"PAR1 the dynamometer's PAR1")
    with pytest.raises(InputError, match="nothing is overwritten"):
        export.write(drive, target)
    assert target.read_bytes() == b"PAR1 the dynamometer's PAR1"


def test_csv_without_pyarrow_holds_the_same(drive, tmp_path, monkeypatch):
    ours = export.write(drive, tmp_path / "with.csv")
    monkeypatch.setattr(export, "find_spec", lambda name: None)
    plain = export.write(drive, tmp_path / "without.csv")
    assert plain.read_text().splitlines()[0] == ours.read_text().splitlines()[0]
    pd.testing.assert_frame_equal(pd.read_csv(plain), pd.read_csv(ours), check_dtype=False)
    export.write(drive, plain)  # it recognises its own file again


@pytest.mark.parametrize(("ending", "extra"), [(".parquet", "parquet"), (".mf4", "mdf")])
def test_a_missing_library_is_named_with_its_extra_before_anything_is_written(drive, tmp_path, monkeypatch, ending, extra):
    monkeypatch.setattr(export, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=rf"pip install 'hotfuel\[{extra}\]'"):
        export.write(drive, tmp_path / f"a{ending}")
    assert not list(tmp_path.iterdir())
