"""The rules by which a file of pulls is read, each just inside and just outside: headings, units, lines above, rows that count, where sweeps turn."""

import datetime

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import power_words
from hotfuel.study.power import columns, delimited, facts, headings, layouts, pulls, workbook
from hotfuel.study.power.remarks import Kind, Remark
from hotfuel.study.power.sweeps import sweeps_up

# 3: the heading is the role's own words; 2.5: a bare "speed"; 2: it contains them; 0.5: beside a word for something else; 1: a
# unit alone; a unit adds 0.5, "corrected" subtracts 0.25 where the measured value is wanted
SCORES = [
    ("rpm", "RPM", 3.5), ("rpm", "Engine Speed", 3.0), ("rpm", "Engine Speed (rpm)", 3.5), ("rpm", "Speed (rpm)", 3.0), ("rpm", "Speed", 2.5),
    ("rpm", "Motordrehzahl", 3.0), ("rpm", "n [1/min]", 3.5), ("rpm", "Wheel RPM", 0.0), ("rpm", "Speed (km/h)", 0.0), ("rpm", "Oil pump rpm", 1.0),
    ("torque", "Torque", 3.0), ("torque", "Torque (Nm)", 3.5), ("torque", "Corrected Torque (Nm)", 3.25), ("torque", "Nm", 1.5),
    ("torque", "M [Nm]", 2.5), ("torque", "Engine Torque [Nm]", 3.5), ("torque", "Wheel Torque [Nm]", 1.0), ("torque", "Torque smoothing", 0.5),
    ("power", "P (kW)", 2.5), ("power", "hp", 1.5), ("power", "SAE hp", 1.25), ("power", "Loss Power (kW)", 1.0), ("power", "Power delta (kW)", 2.5),
    ("fuel", "Fuel Temp (F)", 3.5), ("fuel", "Fuel Pressure (psi)", 0.5), ("fuel", "Fuel", 3.0), ("oil", "degC", 0.0), ("speed", "Speed", 0.0),
    ("speed", "Road Speed (mph)", 3.5), ("air", "Mass air flow (g/s)", 3.0), ("gear", "Gear", 3.0), ("afr", "Air fuel ratio", 3.0),
]  # fmt: skip


@pytest.mark.parametrize(("role", "header", "score"), SCORES)
def test_how_well_a_heading_fits(role, header, score):
    assert columns.score(role, header) == score


def test_a_row_of_units_may_be_shorter_than_the_headings():
    found = columns.assign(["rpm", "torque", "power"], ["1/min", "Nm"], {}, {})
    assert {role: column.unit for role, column in found.items()} == {"rpm": "rpm", "torque": "Nm", "power": ""}
    assert columns.assign(["x", "Nm", "hp"], ["rpm", "", ""], {"rpm": "x"}, {})["rpm"].unit == "rpm"


def test_a_column_is_named_by_its_position_from_1():
    headers = ["a", "b", "c"]
    for place in (1, 2, 3):
        found = columns.assign(headers, None, {"rpm": place, "power": headers[place % 3]}, {"power": "kW"})
        assert (found["rpm"].position, found["power"].position) == (place - 1, place % 3)
    for place in (0, 4):
        with pytest.raises(InputError, match=f'no column "{place}"'):
            columns.assign(headers, None, {"rpm": place}, {})


def test_torque_and_power_are_of_one_kind_where_both_kinds_are_there():
    headers = ["RPM", "Corrected Torque (Nm)", "Power (kW)", "Corrected Power (kW)", "Torque smoothing"]
    found = columns.assign(headers, None, {}, {})
    assert [found[role].position for role in ("torque", "power")] == [1, 3]
    kept = columns.assign(headers, None, {"power": "Power (kW)"}, {})
    assert [kept[role].position for role in ("torque", "power")] == [1, 2]  # there is no measured torque
    both = columns.assign([*headers, "Torque (Nm)"], None, {"power": "Power (kW)"}, {})
    assert [both[role].position for role in ("torque", "power")] == [5, 2]
    assert [found[role].corrected for role in ("torque", "power")] == [True, True]


def test_two_columns_that_fit_equally_well_are_asked_about():
    with pytest.raises(InputError, match=r"Torque A \(Nm\) and Torque B \(Nm\) could each be the torque"):
        columns.assign(["RPM", "Torque A (Nm)", "Torque B (Nm)"], None, {}, {})
    with pytest.raises(
        InputError, match=r'columns 2 and 3 are headed "Torque \(Nm\)": choose one, for example --column torque=2'
    ):
        columns.assign(["RPM", "Torque (Nm)", "Torque (Nm)"], None, {}, {})
    # what a curve does not need, under the same heading twice: the first
    assert columns.assign(["RPM", "Nm", "Gear", "Gear"], None, {}, {})["gear"].position == 2


@pytest.mark.parametrize(
    ("header", "unit"),
    [("Torque 2 Nm 3", "Nm"), ("Nm 3", ""), ("Torque lb ft", "lb-ft"), ("Nm Torque 3", ""), ("Torque Nm, 3", "Nm")],
)
def test_a_unit_is_last_or_before_a_number(header, unit):
    assert columns.unit_of(header, "torque") == unit


LINES = [
    ("Barometer: 29.92 inHg", {"pressure": 29.92 * 3.386389}), ("Air pressure 98.2 kPa", {"pressure": 98.2}), ("Humidity 45 %", {"humidity": 45.0}),
    ("Humidity: 45", {"humidity": 45.0}), ("Air temp 86 °F", {"intake": 30.0}), ("Gear 4", {"gear": 4.0}), ("Fuel temp: 48,5 °C", {"fuel": 48.5}),
    ("Coolant temperature 85", {}), ("Run 12", {"number": 12}), ("Run 12.5", {}), ("Serial 1234", {}), ("Power corrected: SAE", {"corrected": True}),
    ("Correction: none", {"corrected": False}), ("uncorrected figures", {"corrected": False}), ("Smoothing: 5", {"smoothing": "smoothing: 5"}),
    ("Spark advance 28", {"spark": 28.0}), ("Oil temp 212 F", {"oil": 100.0}), ("Luftdruck 1013 mbar", {"pressure": 101.3}),
    ("2026-05-03 10:15", {"at": datetime.datetime(2026, 5, 3, 10, 15)}), ("3.4.2026, 10:15:30", {"at": datetime.datetime(2026, 4, 3, 10, 15, 30)}),
    ("10:15:07 on 2026-05-03", {"at": datetime.datetime(2026, 5, 3, 10, 15, 7)}), ("2026-05-03", {}), ("2026-13-03 10:15", {}),
]  # fmt: skip


@pytest.mark.parametrize(("line", "told"), LINES)
def test_facts_from_a_line_above_the_numbers(line, told):
    found = facts.of_lines([[line]])
    assert found.keys() == told.keys()
    assert all(
        value == pytest.approx(told[name]) if isinstance(value, float) else value == told[name] for name, value in found.items()
    )


def test_three_cells_are_one_line_and_four_are_four():
    assert facts.of_lines([["Air temp", "30", "°C"]]) == {"intake": 30.0}
    assert facts.of_lines([["Gear 4", "Run 2", "Air temp 30 °C", "Spark 28"]]) == {
        "gear": 4,
        "number": 2,
        "intake": 30.0,
        "spark": 28.0,
    }
    assert facts.of_lines([["Gear 4"], ["Gear 5"]]) == {"gear": 4.0}  # the first statement counts


def test_facts_of_a_sweep_come_from_its_own_rows():
    n = 40
    rpm, rows = np.linspace(2000.0, 5900.0, n), np.arange(10, 40)
    coolant = np.where(np.arange(n) < 13, 80.0, 95.0)  # a tenth of 30 rows: the first three
    extra = {"coolant": coolant, "barometer": np.full(n, 98.0), "intake": np.full(n, 30.0), "humidity": np.full(n, 50.0), "gear": np.full(n, 4.004),
             "speed": rpm / 40, "time": np.arange(n) / 4.0, "spark": np.where(np.arange(n) < 10, 0.0, 28.0)}  # fmt: skip
    found = facts.of_pull({"oil": 70.0, "number": 8}, rpm, rows, extra, None)
    assert found.starts == {"coolant": 80.0, "oil": 70.0, "intake": 30.0}
    assert (found.gear, found.gear_ratio, found.spark_deg, found.number) == (4.0, pytest.approx(40.0), 28.0, 8)
    assert found.sweep_rpm_s == pytest.approx(400.0)  # 100 rpm a row, four rows a second
    assert found.weather.dry_kpa == pytest.approx(95.88, abs=0.01)
    extra["barometer"] = np.full(n, 30.0)  # a sensor that was not connected
    assert facts.of_pull({}, rpm, rows, extra, 3).weather is None
    assert facts.of_pull({}, rpm, rows, extra, 3).number == 3
    assert facts.of_pull(
        {"number": 8}, rpm, rows, {"speed": np.where(np.arange(n) < 20, 4.0, rpm / 40)}, None
    ).gear_ratio == pytest.approx(40.0)
    assert np.isnan(facts.of_pull({}, rpm, rows, {"speed": np.full(n, 5.0)}, None).gear_ratio)
    for rows_of_time, told in ((5, True), (4, False)):
        assert np.isfinite(facts.of_pull({}, rpm, rows[:rows_of_time], {"time": np.arange(n) / 4.0}, None).sweep_rpm_s) == told
    # a clock that does not advance gives nothing
    for clock in (
        np.arange(40.0)[::-1],
        np.concatenate([[5.0, 6.0], np.zeros(38)]),
        np.full(40, 3.0),
    ):
        assert np.isnan(facts.of_pull({}, rpm, np.arange(40)[:8], {"time": clock}, None).sweep_rpm_s)
    back = np.concatenate([[5.0, 4.0], np.arange(6.0, 12.0)])
    assert facts.of_pull({}, rpm, np.arange(8), {"time": back}, None).sweep_rpm_s == pytest.approx(700 / 6)
    jerk = np.concatenate([np.zeros(3), 100.0 * np.arange(1, 25), np.full(3, 1e4)])
    # middle four fifths
    assert facts.of_pull({}, jerk, np.arange(30), {"time": np.arange(30.0)}, None).sweep_rpm_s == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("text", "headers", "units", "rows"),
    [
        ("rpm,Nm\n1000,5\n2000,6\n3000,7\n4000,8\n", ("rpm", "Nm"), None, 4),
        ("rpm,torque\n1/min,Nm\n1000,5\n2000,6\n3000,7\n4000,8\n", ("rpm", "torque"), ("1/min", "Nm"), 4),
        ("title,here\n\nx,y\nrpm,torque\n1000,5\n2000,6\n3000,7\n4000,8\n", ("x", "y"), ("rpm", "torque"), 4),
        ("title,here\nEngine speed,torquevalue\n1000,5\n2000,6\n3000,7\n4000,8\n", ("Engine speed", "torquevalue"), None, 4),
        # two numbers above are not a beginning
        (
            "30,98\nnotes\nrpm,Nm\n1000,5\n2000,6\n3000,7\n4000,8\n5000,9\n",
            ("rpm", "Nm"),
            None,
            5,
        ),
        ("rpm,Nm,\n1000,5,\n2000,6,\n3000,7,\n4000,8,\n", ("rpm", "Nm", ""), None, 4),
    ],
)
def test_where_a_table_begins(text, headers, units, rows):
    table = delimited.parse(text, "f.csv")
    assert (table.headers, table.units_row, table.numbers.shape) == (headers, units, (rows, len(headers)))
    assert table.numbers[-1, 0] == (5000 if rows == 5 else 4000)


@pytest.mark.parametrize(
    ("cells", "decimal"),
    [
        (["1,5", "2,5"], ","), (["1.5", "2.5"], "."), (["1,500", "2,500"], "."), (["1.500", "2.500"], "."), (["1.234,5", "7"], ","),
        (["1,234.5", "7"], "."), (["1,5", "2.5"], "."), (["1,5", "2,5", "3.5"], ","), (["7", "8"], "."), (["1.500", "2,5"], ","), (["-1,5e3"], ","),
    ],
)  # fmt: skip
def test_the_decimal_sign(cells, decimal):
    assert delimited._decimal([cells]) == decimal


def test_more_invalid_rows_than_valid_ones_are_not_a_table():
    good, bad = ["1000,5", "2000,6", "3000,7", "4000,8"], ["stopped,here"] * 4
    assert delimited.parse("\n".join(["rpm,Nm", *good, *bad]), "f.csv").remarks == (Remark(Kind.NO_NUMBERS, 4),)
    with pytest.raises(InputError, match="has 5 rows that are not numbers and only 4 that are"):
        delimited.parse("\n".join(["rpm,Nm", *good, *bad, "once,more"]), "f.csv")
    repeated = delimited.parse("\n".join(["rpm,torque", "1/min,Nm", *good, "rpm,torque", "1/min,Nm", *good]), "f.csv")
    assert list(map(power_words.remark, repeated.remarks)) == ["repeated header rows left out"]


@pytest.mark.parametrize(
    ("cell", "fits"),
    [("Nm", True), ("1/min", True), ("degrees", False), ("a" * 6, True), ("1234567890", True), ("12345678901", False)],
)
def test_what_looks_like_units(cell, fits):
    assert delimited._looks_like_units(["rpm", cell]) == fits
    assert not delimited._looks_like_units(["", ""])


def test_a_file_too_large_is_refused_and_one_just_as_large_as_allowed_is_read(tmp_path, monkeypatch):
    text = "rpm,Nm\n" + "\n".join(f"{1000 * i},{i}" for i in range(1, 6))
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    monkeypatch.setattr(delimited, "MOST_BYTES", len(text))
    assert len(delimited.read(tmp_path / "a.csv").numbers) == 5
    monkeypatch.setattr(delimited, "MOST_BYTES", len(text) - 1)
    with pytest.raises(InputError, match="a.csv has more than"):
        delimited.read(tmp_path / "a.csv")


def test_a_workbook_is_recognised_by_its_name_or_its_first_bytes(tmp_path):
    for name, raw, told in (
        ("a.xlsx", b"", True),
        ("a.XLSM", b"", True),
        ("a.csv", b"PK\x03\x04", True),
        ("a.csv", b"PK\x03\x05", False),
    ):
        (tmp_path / name).write_bytes(raw)
        assert workbook.is_workbook(tmp_path / name) == told
    assert not workbook.is_workbook(tmp_path / "none.csv")
    assert not workbook.is_workbook(tmp_path)
    assert workbook._cut(["a", "", "b", "", ""]) == ["a", "", "b"]


def sheet(headers, rows, above=(), label=""):
    return delimited.Table(tuple(headers), None, np.asarray(rows, dtype=float), (), above, label)


def test_parts_of_fewer_than_five_rows_are_not_a_pull():
    rows = [[1, 1000 + i, 5] for i in range(5)] + [[2, 1000 + i, 5] for i in range(4)]
    (part,) = layouts.parts(sheet(["Run", "rpm", "Nm"], rows))
    assert (part.number, part.label, part.table.numbers.shape) == (1, "run 1", (5, 2))
    assert list(map(power_words.remark, part.table.remarks)) == ["1 run of fewer than 5 rows left out"]


@pytest.mark.parametrize(
    ("header", "number"),
    [("Torque 3", 3), ("3 Torque", 3), ("Torque 9999", 9999), ("Torque 10000", None), ("3", None), ("Torque", None)],
)
def test_the_number_of_a_heading(header, number):
    assert layouts._heading_number(header) == number


def test_blocks_under_titles_and_the_label_of_a_sheet():
    block = [[float(1000 * i), 5.0, float(1000 * i), 6.0] for i in range(1, 6)]
    told = layouts.parts(sheet(["rpm", "Nm", "rpm", "Nm"], block, (("Run 4", "", "Run 7", ""),), "Friday"))
    assert [(part.number, part.label) for part in told] == [(4, "Friday Run 4"), (7, "Friday Run 7")]
    assert [part.table.numbers[0].tolist() for part in told] == [[1000.0, 5.0], [1000.0, 6.0]]
    untold = layouts.parts(sheet(["rpm", "Nm", "rpm", "Nm"], block, (("Run 4", "", "Run 4", ""),)))
    assert [part.number for part in untold] == [None, None]
    bare = layouts.parts(sheet(["rpm", "Nm", "rpm", "Nm"], block))
    assert [(part.number, part.label) for part in bare] == [(None, "pull 1"), (None, "pull 2")]
    (alone,) = layouts.parts(sheet(["rpm", "Nm"], [row[:2] for row in block], (), "pull 12 of 2026-05"))
    assert alone.number == 5
    (alone,) = layouts.parts(sheet(["rpm", "Nm"], [row[:2] for row in block], (), "pull 9999"))
    assert alone.number == 9999


@pytest.mark.parametrize(
    ("speeds", "pieces", "left"),
    [
        ([1, 2, 3, 4, 5], [[0, 1, 2, 3, 4]], 0),
        ([1, 3, 2.61, 5], [[0, 1, 2, 3]], 0),  # 0.39 of a range of 4 is not a turn
        ([1, 3, 2.5, 5], [[2, 3]], 2),  # 0.5 is: 2.5 to 5 is 0.625 of the range, 1 to 3 half of it
        ([1, 5, 1, 5], [[0, 1], [2, 3]], 0),
        ([5, 1, 1, 5, 4.7], [[1, 2, 3, 4]], 1),  # a flat bottom belongs to the sweep from its first row on
        ([5, 4, 3, 2, 1], [[0, 1, 2, 3, 4]], 0),
        ([3, 3, 3], [[0, 1, 2]], 0),
        ([1, 3.4, 1, 5], [[0, 1], [2, 3]], 0),  # exactly three fifths of the range
        ([1, 3.39, 1, 5], [[2, 3]], 2),
    ],
)
def test_where_sweeps_turn(speeds, pieces, left):
    rpm = 1000 * np.array(speeds, dtype=float)
    found, left_out = sweeps_up(rpm, np.ones(len(rpm), dtype=bool))
    assert ([piece.tolist() for piece in found], left_out) == (pieces, left)


def table_of(rpm, torque, **more):
    return sheet(["rpm", "torque (Nm)", *more], np.column_stack([rpm, torque, *more.values()]))


def test_bounds_of_a_pull():
    five = np.array([1000.0, 1100, 1200, 1300, 1500])
    (pull,) = pulls.from_table(table_of(five, five), "p", mapping={}, units={})
    assert pull.power_kw == pytest.approx(five * five * 2 * np.pi / 60000)
    for bad in (five[1:], np.array([1000.0, 1100, 1200, 1300, 1499])):
        with pytest.raises(InputError, match="at least 5 over 500 rpm"):
            pulls.from_table(table_of(bad, bad), "p", mapping={}, units={})
    for top, fits in ((25000.0, True), (25001.0, False), (99.0, False)):
        speeds = np.linspace(0.5 * top, top, 6)
        if fits:
            assert pulls.from_table(table_of(speeds, np.ones(6)), "p", mapping={}, units={})
        else:
            with pytest.raises(InputError, match="is it the right column"):
                pulls.from_table(table_of(speeds, np.ones(6)), "p", mapping={}, units={})
    pulls.from_table(table_of(five, np.zeros(5)), "p", mapping={}, units={})  # no torque at all is not an overrun
    with pytest.raises(InputError, match=r"torque goes down to -1\.0 Nm"):
        pulls.from_table(table_of(five, np.array([5.0, 5, 5, 5, -1])), "p", mapping={}, units={})


def test_a_repeated_speed_counts_with_its_mean_and_zero_speed_not_at_all():
    rpm = np.array([0.0, 1000, 1000, 1200, 1400, 1600, 1800])
    torque = np.array([99.0, 10, 20, 30, 30, 30, 30])
    (pull,) = pulls.from_table(table_of(rpm, torque, AFR=np.full(7, 14.1), Gear=np.full(7, 3.0)), "p", mapping={}, units={})
    assert pull.torque_nm.tolist() == [15.0, 30.0, 30.0, 30.0, 30.0]
    assert pull.lambda_ratio == pytest.approx(1.0)
    assert (pull.facts.gear, pull.system, pull.corrected, pull.measured) == (3.0, "si", False, False)
    assert pull.remarks[-1] == Remark(Kind.AVERAGED)


def test_headings_are_words():
    assert headings.words("EngSpd_2 (rpm)") == ["eng", "spd", "2"]
    assert headings.ideas("Kraftstofftemperatur") == ["fuel", "temperature"]
    assert headings.ideas("Öltemperatur") == ["oil", "temperature"]
    assert headings.ideas("oiltem") == ["oiltem"]  # a stem, not a word
    assert headings.ideas("airtemp") == ["airtemp"]  # too short a word: it begins too many others
    assert headings.ideas("IAT") == ["intake", "temperature"]
    assert headings.ideas("oltemp") == ["oil", "temperature"]
    assert headings.ideas("oloil") == ["oloil"]  # five letters are not split


def test_sheets_without_a_table_are_skipped(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(["only", "words"])
    pull = book.create_sheet("pull 7")
    for row in (["rpm", "Nm"], *([1000 * i, 5] for i in range(1, 6))):
        pull.append(row)
    book.create_sheet("nothing")
    book.save(tmp_path / "day.xlsx")
    (table,) = workbook.read(tmp_path / "day.xlsx")
    assert (table.label, table.headers, table.numbers.shape) == ("pull 7", ("rpm", "Nm"), (5, 2))
