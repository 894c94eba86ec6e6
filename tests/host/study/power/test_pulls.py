"""Files of pulls in the shapes in which they come, and one sentence for those that are not."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import power_words
from hotfuel.study.power import columns, delimited, layouts, pulls
from hotfuel.study.power.remarks import Kind, Remark
from hypothesis import given
from hypothesis import strategies as st

RPM = np.arange(2500, 6501, 50)
TORQUE_LBFT = 500 * np.exp(-(((RPM - 4500) / 4000) ** 2))
POWER_HP = TORQUE_LBFT * RPM / 5252.113
PEAK_KW = POWER_HP.max() * 0.745699871582


def rows(*columns_, sep=",", decimals=1):
    return "\n".join(
        sep.join(f"{x:.{decimals}f}" if c else f"{x:.0f}" for c, x in enumerate(line)) for line in zip(*columns_, strict=True)
    )


PLAIN = rows(RPM, TORQUE_LBFT, POWER_HP)
UP, DOWN = PLAIN.splitlines(), PLAIN.splitlines()[::-1]


def read(tmp_path, text, name="pull.csv", **options):
    file = tmp_path / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return pulls.read(file, **options)


SHAPES = {
    "comma": "RPM,Torque (lb-ft),Power (hp)\n" + PLAIN,
    "tab, units found by power = torque x speed": "rpm\ttorque\tpower\n" + rows(RPM, TORQUE_LBFT, POWER_HP, sep="\t"),
    "semicolon, decimal comma, units row, SI": "Engine Speed;Torque;Power\nrpm;Nm;kW\n"
    + rows(RPM, TORQUE_LBFT * 1.3558179, POWER_HP * 0.7456999, sep=";").replace(".", ","),
    "byte-order mark": "\ufeffRPM,Torque (lb-ft),Power (hp)\n" + PLAIN,
    "UTF-16": ("RPM\tTorque [lb-ft]\tPower [hp]\n" + rows(RPM, TORQUE_LBFT, POWER_HP, sep="\t")).encode("utf-16"),
    "German header, every row twice": "Drehzahl (1/min);Drehmoment (Nm);Leistung (PS)\n"
    + "\n".join(
        line
        for line in rows(RPM, TORQUE_LBFT * 1.3558179, POWER_HP * 1.01387, sep=";").replace(".", ",").splitlines()
        for _ in range(2)
    ),
    "title above, unit in words": "Run 5 of 9\nEngine RPM,Engine Torque ft-lbs,hp\n" + PLAIN,
    "down sweep after the up sweep": "RPM,Torque lb-ft,hp\n" + "\n".join(UP + DOWN),
    "falling only": "RPM,Torque lb-ft,hp\n" + "\n".join(DOWN),
    "header repeated every twenty rows": "RPM,Torque lb-ft,hp\n"
    + "\nRPM,Torque lb-ft,hp\n".join("\n".join(UP[i : i + 20]) for i in range(0, len(UP), 20)),
    "grouped thousands": "RPM,Torque lb-ft\n" + "\n".join(f'"{r:,}",{t:.2f}' for r, t in zip(RPM, TORQUE_LBFT, strict=True)),
    "torque only": "rpm,torque_Nm\n" + rows(RPM, TORQUE_LBFT * 1.3558179, decimals=3),
    "power only": "rpm,power_hp\n" + rows(RPM, POWER_HP, decimals=3),
    "blanks": "Time  RPM   Power (hp)\n"
    + "\n".join(f"{0.1 * i:.1f}   {r}   {p:.2f}" for i, (r, p) in enumerate(zip(RPM, POWER_HP, strict=True))),
    "single blanks": "RPM Nm\n" + rows(RPM, TORQUE_LBFT * 1.3558179, sep=" ", decimals=2),
    "road speed and oil temperature beside": "Wheel Speed (km/h),RPM,Oil Temp (C),Power (hp)\n"
    + "\n".join(f"{r / 40:.1f},{r},95.0,{p:.2f}" for r, p in zip(RPM, POWER_HP, strict=True)),
    "trailing delimiter": "RPM,Torque lb-ft,hp,\n" + "\n".join(line + "," for line in UP),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_a_pull_reads_the_same_in_every_shape(tmp_path, shape):
    (pull,) = read(tmp_path, SHAPES[shape])
    assert pull.rpm[0] == 2500
    assert pull.rpm[-1] == 6500
    assert len(pull.rpm) == len(RPM)
    assert pull.power_kw.max() == pytest.approx(PEAK_KW, rel=1e-3)
    assert pull.torque_nm == pytest.approx(TORQUE_LBFT * 1.3558179, rel=2e-3)
    assert not pull.corrected
    assert pull.mapping[0].startswith("rpm from")


def test_several_sweeps_are_several_pulls(tmp_path):
    found = read(tmp_path, "RPM,Torque lb-ft,hp\n" + "\n".join(UP + DOWN + UP + DOWN))
    assert [p.name for p in found] == ["pull sweep 1", "pull sweep 2"]
    assert all(len(p.rpm) == len(RPM) for p in found)


def test_a_wavering_speed_makes_no_sweeps_and_repeated_speeds_are_averaged(tmp_path):
    rng = np.random.default_rng(0)
    speeds = np.round(np.repeat(RPM, 3) + rng.normal(0, 20, 3 * len(RPM)), -1)
    text = "rpm,power hp,AFR,fuel temp F\n" + rows(
        speeds, np.repeat(POWER_HP, 3), np.full(len(speeds), 12.9), np.full(len(speeds), 118.4)
    )
    (pull,) = read(tmp_path, text)
    assert np.all(np.diff(pull.rpm) > 0)
    assert Remark(Kind.AVERAGED) in pull.remarks
    assert pull.fuel_degc == pytest.approx(48.0)
    assert pull.lambda_ratio == pytest.approx(12.9 / 14.1, abs=1e-6)


def test_no_row_of_an_upward_sweep_is_lost_where_its_speeds_repeat(tmp_path):
    twice = "RPM,Torque lb-ft,hp\n" + "\n".join(line for line in UP for _ in range(2))
    (pull,) = read(tmp_path, twice)
    assert pull.remarks == (Remark(Kind.AVERAGED),)
    assert power_words.remark(pull.remarks[0]) == "rows with a repeated engine speed averaged"


def test_of_two_power_columns_the_measured_one_is_used(tmp_path):
    (pull,) = read(tmp_path, "RPM,SAE Power (hp),Power (hp)\n" + rows(RPM, POWER_HP * 1.04, POWER_HP))
    assert pull.power_kw.max() == pytest.approx(PEAK_KW, rel=1e-3)
    assert not pull.corrected
    (marked,) = read(tmp_path, "RPM,SAE Power (hp)\n" + rows(RPM, POWER_HP))
    assert marked.corrected


def test_mapping_and_units_can_be_given(tmp_path):
    text = "x,y,z\n" + rows(RPM, TORQUE_LBFT, POWER_HP)
    (pull,) = read(tmp_path, text, mapping={"rpm": "x", "power": 3}, units={"power": "hp"})
    assert pull.power_kw.max() == pytest.approx(PEAK_KW, rel=1e-3)


BAD = {
    "letters": ("a,b,c\nd,e,f\n", {}, "no row with two numbers"),
    "empty": ("", {}, "is empty"),
    "binary": (b"\x00\x01\x02\x00" * 50, {}, "is not text"),
    "three points": ("RPM,hp\n3000,100\n3500,120\n4000,130\n", {}, "3 engine speeds"),
    "negative torque": ("RPM,Nm\n" + rows(RPM, -TORQUE_LBFT), {}, "torque goes down to -500"),
    "no engine speed": ("x,hp\n" + rows(RPM, POWER_HP), {}, "no column was recognised as engine speed"),
    "no power": ("rpm,colour\n" + rows(RPM, POWER_HP), {}, "no column was recognised as torque or power"),
    "no header": (PLAIN, {}, "no header row"),
    "no unit": ("rpm,power\n" + rows(RPM, POWER_HP), {}, "has no unit"),
    "power is not torque times speed": ("RPM,Torque (Nm),Power (kW)\n" + PLAIN, {}, r"power in kW is \+82 % off"),
    "unknown column": ("RPM,hp\n" + rows(RPM, POWER_HP), {"mapping": {"power": "kilowatts"}}, 'no column "kilowatts"'),
    "unknown role": ("RPM,hp\n" + rows(RPM, POWER_HP), {"mapping": {"boost": "hp"}}, "not a kind of column"),
    "unknown unit": ("RPM,Power\n" + rows(RPM, POWER_HP), {"units": {"power": "furlongs"}}, "is not a unit of power"),
    "speed in km/h": ("RPM,hp\n" + rows(RPM / 100, POWER_HP), {}, "is it the right column"),
    "header shorter than rows": ("RPM,hp\n" + rows(RPM, TORQUE_LBFT, POWER_HP), {}, "name each column"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_get_one_sentence_that_names_the_file(tmp_path, case):
    text, options, words = BAD[case]
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, text, **options)
    assert str(caught.value).startswith("pull.csv")
    assert "\n" not in str(caught.value)


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        pulls.read(tmp_path / "nothing.csv")


def refusal(text):
    """The sentence with which a text is refused; empty where it is read. Anything but InputError is passed on."""
    try:
        for part in layouts.parts(delimited.parse(text, "f.csv")):
            pulls.from_table(part.table, "f", mapping={}, units={}, number=part.number)
    except InputError as error:
        return str(error)
    return ""


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_in_one_sentence(text):
    assert "\n" not in refusal(text)


PIECES = ["RPM", "hp", "Nm", "3000", "12,5", "-7", "", ";", ",", "\n", "\t", '"', "Torque (Nm)", "Torque 1 (Nm)", "Torque 2 (Nm)", "Run", "Run 2",
          "Barometer: 29 inHg", "Air temp", "Humidity 400 %", "2026-13-45 99:99", "4", "5", "4000", "5000", "6000"]  # fmt: skip


@given(st.lists(st.sampled_from(PIECES), max_size=80))
def test_any_pieces_of_a_file_are_read_or_refused_in_one_sentence(pieces):
    assert "\n" not in refusal("".join(pieces))


@pytest.mark.parametrize(("rows", "said"), [(1, "1 row without numbers left out"), (3, "3 rows without numbers left out")])
def test_invalid_rows_are_counted(tmp_path, rows, said):
    lines = [f"{rpm},{400 - rpm / 100:.1f}" for rpm in range(2500, 6001, 100)]
    lines[7:7] = ["stopped,by hand"] * rows
    (tmp_path / "pull.csv").write_text("\n".join(["rpm,torque (Nm)", *lines]), encoding="utf-8")
    (one,) = pulls.read(tmp_path / "pull.csv")
    assert said in map(power_words.remark, one.remarks)
    assert (len(one.rpm), one.position) == (36, 1)


@pytest.mark.parametrize("header", ["Turbo speed (rpm)", "Fan speed", "Air speed", "Speed ratio"])
def test_the_speed_of_something_else_is_not_the_engines(header):
    assert columns.score("rpm", header) == 0 < columns.score("rpm", "Speed (rpm)")


def test_a_separator_at_the_end_of_each_row_loses_no_row(tmp_path):
    rows = [f"{rpm},{400 - rpm / 100:.1f}" for rpm in range(2500, 6001, 100)]
    read = []
    for end in ("", ",", ",,"):
        (tmp_path / "pull.csv").write_text("\n".join(["rpm,torque (Nm)", *(row + end for row in rows)]), encoding="utf-8")
        read.append(pulls.read(tmp_path / "pull.csv")[0])
    for one in read:
        assert len(one.rpm) == len(rows)
        np.testing.assert_array_equal(one.torque_nm, read[0].torque_nm)


@pytest.mark.parametrize(
    ("header", "dimension", "unit"),
    [
        ("Torque (lb-ft)", "torque", "lb-ft"),
        ("TORQUE [Nm]", "torque", "Nm"),
        ("power_hp", "power", "hp"),
        ("Engine Torque ft-lbs", "torque", "lb-ft"),
        ("Leistung <PS>", "power", "PS"),
        ("Fuel Temp (°F)", "temperature", "°F"),
        ("Power", "power", ""),
        ("Nm", "torque", "Nm"),
        ("lb ft", "torque", "lb-ft"),
        ("Motor Nm", "torque", "Nm"),
    ],
)
def test_units_in_headers(header, dimension, unit):
    assert columns.unit_of(header, dimension) == unit


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("12,5", ",", 12.5),
        ("\u221240", ".", -40),
        ("1e3", ".", 1000),
        ("5,500", ".", 5500),
        ("1_0", ".", np.nan),
        ("inf", ".", np.nan),
    ],
)
def test_numbers(cell, decimal, value):
    assert delimited.number(cell, decimal) == pytest.approx(value, nan_ok=True)
