"""Twelve layouts in five languages give the same curves, numbers and facts; parts of a file that are not pulls are named."""

import sys

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import power_words
from hotfuel.study.power import pulls
from hotfuel.study.power.remarks import Kind
from pull_files import NUMBERS, ONE, RPM, SEVERAL, power_kw, stacked_french, torque_nm, write


@pytest.mark.parametrize("layout", ONE)
def test_one_pull(tmp_path, layout):
    (pull,) = pulls.read(write(tmp_path / "run3.txt", ONE[layout]()))
    assert pull.rpm == pytest.approx(RPM)
    assert pull.torque_nm == pytest.approx(torque_nm(3), rel=1e-4)
    assert pull.power_kw == pytest.approx(power_kw(3), rel=1e-4)


@pytest.mark.parametrize("layout", SEVERAL)
def test_several_pulls(tmp_path, layout):
    found = pulls.read(write(tmp_path / "day.txt", SEVERAL[layout]()))
    assert len(found) == 3
    assert pulls.numbers(found) == ([1, 2, 3] if layout == "sweeps in blanks" else list(NUMBERS))
    assert [pull.position for pull in found] == [1, 2, 3]
    assert len({pull.name for pull in found}) == 3
    for pull, number in zip(found, NUMBERS, strict=True):
        assert pull.rpm == pytest.approx(RPM)
        assert pull.power_kw == pytest.approx(power_kw(number), rel=1e-4)
        assert pull.torque_nm == pytest.approx(torque_nm(number), rel=1e-4)


def test_the_facts_a_file_gives_about_a_pull(tmp_path):
    (english,) = pulls.read(write(tmp_path / "a.csv", ONE["english, lines above"]()))
    (german,) = pulls.read(write(tmp_path / "b.csv", ONE["german, units row, decimal comma"]()))
    for pull in (english, german):
        facts = pull.facts
        assert (facts.driven_at.isoformat(), facts.number, facts.gear) == ("2026-05-03T14:03:00", 3, 4)
        assert facts.weather.pressure_kpa == pytest.approx(98.54, abs=0.01)
        assert facts.weather.temperature_degc == pytest.approx(30)
        assert facts.intake_degc == pytest.approx(30)
        assert facts.weather.vapour_pressure_kpa == pytest.approx(0.45 * 4.2347, rel=1e-3)  # Magnus at 30 degC by hand
    assert english.measured
    assert not english.corrected
    assert (english.system, german.system) == ("us", "si")
    assert english.unit_check == pytest.approx(1, abs=1e-3)
    sweeps = pulls.read(write(tmp_path / "c.txt", SEVERAL["sweeps in blanks"]()))
    assert [pull.facts.intake_degc for pull in sweeps] == pytest.approx([28, 29, 32])
    assert [pull.facts.sweep_rpm_s for pull in sweeps] == pytest.approx([500] * 3)


def test_headings_of_several_probes_are_not_several_pulls(tmp_path):
    text = "RPM,Torque (Nm),EGT 1,EGT 2,Lambda 1,Lambda 2\n" + "\n".join(
        f"{r:.0f},{t:.2f},700,710,0.87,0.88" for r, t in zip(RPM, torque_nm(3), strict=True)
    )
    (pull,) = pulls.read(write(tmp_path / "a.csv", text))
    assert pull.torque_nm == pytest.approx(torque_nm(3), rel=1e-3)


def rows_of(*columns):
    return "\n".join(",".join(f"{value:.4f}" for value in row) for row in zip(*columns, strict=True))


def measured(n):
    return RPM, torque_nm(n), power_kw(n)


HEADINGS = {  # heading lines -> columns
    "corrected beside measured": (
        "Engine Speed,Corrected Torque,Corrected Power,Uncorrected Power\nrpm,Nm,kW,kW",
        lambda n: (*measured(n), power_kw(n) * 0.97),
    ),
    "letters of physics": ("n [1/min],M [Nm],P [kW]", measured),
    "wheel, loss and engine": (
        "Road Speed (mph),Engine RPM,Wheel Power (kW),Loss Power (kW),Engine Power (kW)",
        lambda n: (RPM / 60, RPM, power_kw(n) * 0.8, power_kw(n) * 0.2, power_kw(n)),
    ),
}


@pytest.mark.parametrize("case", HEADINGS)
def test_of_several_columns_those_of_one_kind_are_used(tmp_path, case):
    head, columns_of = HEADINGS[case]
    (pull,) = pulls.read(write(tmp_path / "a.csv", head + "\n" + rows_of(*columns_of(3))))
    assert pull.power_kw == pytest.approx(power_kw(3), rel=1e-3)
    assert pull.torque_nm == pytest.approx(torque_nm(3), rel=1e-3)


@pytest.mark.parametrize(
    "head",
    [
        "rpm,tq_nm_run3,tq_nm_run4,tq_nm_run7",
        "RPM,3 Torque (Nm),4 Torque (Nm),7 Torque (Nm)",
        "RPM,Run3.Tq [Nm],Run4.Tq [Nm],Run7.Tq [Nm]",
    ],
)
def test_a_number_anywhere_in_the_heading(tmp_path, head):
    found = pulls.read(write(tmp_path / "a.csv", head + "\n" + rows_of(RPM, *(torque_nm(n) for n in NUMBERS))))
    assert [pull.number for pull in found] == list(NUMBERS)
    assert found[2].torque_nm == pytest.approx(torque_nm(7), rel=1e-3)


def test_a_road_speed_is_not_an_engine_speed_whatever_heading_is_above_it(tmp_path):
    with pytest.raises(InputError, match="no column was recognised as engine speed"):
        pulls.read(write(tmp_path / "a.csv", "Speed,Torque\nmph,Nm\n" + rows_of(RPM / 60, torque_nm(3))))


def test_columns_named_by_hand_override_the_layout(tmp_path):
    path = write(tmp_path / "day.csv", SEVERAL["one engine speed for all"]())
    (pull,) = pulls.read(path, mapping={"rpm": "RPM", "torque": "Tq #4 (lb-ft)"})
    assert pull.torque_nm == pytest.approx(torque_nm(4), rel=1e-4)
    (by_place,) = pulls.read(path, mapping={"rpm": 1, "torque": 4})
    assert by_place.torque_nm == pytest.approx(torque_nm(7), rel=1e-4)


TWINS = {  # heading lines -> the columns beside the engine speed, pull 3
    "one quantity in two units": ("rpm,power,power", lambda: (power_kw(3) / 0.7457, power_kw(3))),
    "with the units below": ("rpm,Power,Power\nrpm,hp,kW", lambda: (power_kw(3) / 0.7457, power_kw(3))),
    "each quantity twice": ("rpm,Torque (Nm),Power (kW),Torque (Nm),Power (kW)", lambda: (torque_nm(3), power_kw(3)) * 2),
}


@pytest.mark.parametrize("case", TWINS)
def test_columns_of_one_heading_are_asked_about_and_not_made_into_pulls(tmp_path, case):
    head, columns_of = TWINS[case]
    path = write(tmp_path / "a.csv", head + "\n" + rows_of(RPM, *columns_of()))
    role, first, last = ("torque", 2, 4) if "Torque" in head else ("power", 2, 3)
    with pytest.raises(InputError) as caught:
        pulls.read(path)
    said = str(caught.value)
    assert said.startswith(f'a.csv: columns {first} and {last} are headed "{head.splitlines()[0].split(",")[1]}": choose one, ')
    assert f"--column {role}={first}" in said
    with pytest.raises(InputError, match=f"columns {first} and {last} are headed"):  # by the heading alone it is as unsure
        pulls.read(path, mapping={role: head.splitlines()[0].split(",")[1]})
    chosen = {role: last} if role == "power" else {"torque": 4, "power": 5}
    (pull,) = pulls.read(path, mapping=chosen, units={"power": "kW"} if case.startswith("one") else {})
    assert pull.power_kw == pytest.approx(power_kw(3), rel=1e-3)


def test_repeated_headings_are_pulls_where_each_has_an_engine_speed_or_a_title(tmp_path):
    own = "rpm,Torque (Nm),rpm,Torque (Nm)\n" + rows_of(RPM, torque_nm(3), RPM, torque_nm(4))
    titled = ",Run 3,Run 4\nrpm,Torque (Nm),Torque (Nm)\n" + rows_of(RPM, torque_nm(3), torque_nm(4))
    for text in (own, titled):
        found = pulls.read(write(tmp_path / "a.csv", text))
        assert [float(pull.torque_nm.max()) for pull in found] == pytest.approx(
            [float(torque_nm(n).max()) for n in (3, 4)], rel=1e-3
        )


def test_a_part_that_is_not_a_pull_is_named_and_the_others_are_read(tmp_path):
    head, *rows = stacked_french().splitlines()
    broken = [row.replace("4,000;", "4,000;1", 1) if row.startswith("4,000;") else row for row in rows]
    broken = [row.replace(";1", ";9") if row.startswith("4,000;") else row for row in broken]
    found = pulls.read(write(tmp_path / "day.csv", "\n".join([head, *broken])))
    assert [pull.number for pull in found] == [3, 7]
    (left_out,) = [one for one in found[0].remarks if one.kind is Kind.NO_PULL]
    assert power_words.remark(left_out).startswith("left out: run 4: power in PS is -")


def test_without_the_library_a_spreadsheet_is_answered_with_what_to_install(tmp_path, monkeypatch):
    path = write(tmp_path / "day.txt", SEVERAL["workbook, stacked"]())
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(InputError, match=r"pip install 'hotfuel\[spreadsheet\]'"):
        pulls.read(path)


@pytest.mark.parametrize("raw", [b"PK\x03\x04" + b"\x00" * 40, b"", b"not a zip"])
def test_a_file_that_is_not_a_workbook_is_one_sentence(tmp_path, raw):
    path = tmp_path / "day.xlsx"
    path.write_bytes(raw)
    with pytest.raises(InputError, match="day.xlsx") as caught:
        pulls.read(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_workbook_is_read_or_refused_in_one_sentence(tmp_path, seed):
    path = write(tmp_path / "day.txt", SEVERAL["workbook, stacked"]())
    random, raw = np.random.default_rng(seed), bytearray(path.read_bytes())
    for at in random.integers(0, len(raw), 40):
        raw[at] = random.integers(256)
    path.write_bytes(raw)
    try:
        assert pulls.read(path)
    except InputError as error:
        assert str(error).startswith("day.xlsx")
        assert "\n" not in str(error)


def test_numbers_follow_positions_where_two_pulls_share_one(tmp_path):
    found = pulls.read(write(tmp_path / "day.txt", SEVERAL["sweeps in blanks"]()))
    assert pulls.numbers([found[0], found[2]]) == [1, 3]
    assert np.isfinite(found[0].power_kw).all()
