"""The board's integer tables against the exact calculation, for every supported chip."""

import datetime

import numpy as np
import pytest
from hotfuel import car as car_file
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.risk.board_limits import ChannelSetting, board_tables
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions
from hotfuel.temperature.calibration import Calibration, ChannelCalibration
from hotfuel.temperature.counts import loop_emf_mv, scale, to_degc
from hotfuel.temperature.thermocouple import emf_mv
from hotfuel_wire import limit_tables as wire
from hotfuel_wire.messages import CHIPS, COMMAND, PAYLOAD_MAX
from hypothesis import given
from hypothesis import strategies as st


def loop_code(emf, cold, *, chip, gain, resolution_bits):
    """The hot code (not rounded) that a chip sends for an EMF at its terminals, from the scale of its codes: the inverse of loop_emf_mv."""
    one = scale(chip, gain, resolution_bits)
    if np.isnan(one.mv_per_code):
        return (np.asarray(emf, dtype=float) / one.hot_mv_per_degc + cold) / one.hot_degc_per_code
    return np.asarray(emf, dtype=float) / one.mv_per_code + 0.0 * np.asarray(cold, dtype=float)


MADE = datetime.datetime(2026, 6, 1, tzinfo=datetime.UTC)
KINDS = {
    "MAX31856 gain 32": ChannelSetting(CHIPS["MAX31856"], 32, 19),
    "MAX31856 gain 8": ChannelSetting(CHIPS["MAX31856"], 8, 19),
    "MAX31855": ChannelSetting(CHIPS["MAX31855"], 1, 14),
    "MCP9601 18 bit": ChannelSetting(CHIPS["MCP9601"], 1, 18),
    "MCP9600 18 bit": ChannelSetting(CHIPS["MCP9600"], 1, 18),
    "MCP9601 16 bit": ChannelSetting(CHIPS["MCP9601"], 1, 16),
}


@pytest.fixture(scope="module")
def car():
    return car_file.load(car_file.EXAMPLE)


@pytest.fixture(scope="module")
def fuel(car):
    return car.fuel()


def tables_for(car, fuel, setting):
    made = board_tables(car, fuel, dict.fromkeys(range(3), setting), MADE)
    return wire.check(made.head, list(made.pieces))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("state", [wire.STANDING, wire.RUNNING])
def test_margins_of_the_tables_are_within_half_a_degree_of_the_exact_calculation(kind, state, car, fuel):
    setting = KINDS[kind]
    one = scale(setting.chip, setting.gain, setting.resolution_bits)
    _, references, limits = tables_for(car, fuel, setting)
    generator = np.random.default_rng(7)
    worst = 0.0
    for row in [row for row in limits if row["state"] == state]:
        place = car.places[row["channel"]]
        name = place.name + ("_needle" if row["where"] == wire.BEHIND_NEEDLE else "")
        at_place_kpa = generator.uniform(26, 200, 150)
        air_units = np.round(at_place_kpa * 100 - row["offset"]).astype(int)
        cold_codes = np.round(generator.uniform(-20, 85, 150) / one.cold_degc_per_code).astype(int)
        # the air pressure that puts this place at 26 to 200 kPa; margins() gives the exact limit there
        exact = margins(
            car, fuel, {place.name: np.full(150, 50.0)}, Conditions(running=float(state), ambient_pressure_kpa=air_units / 100)
        )[name]
        near = exact.limit_degc + generator.uniform(-6, 6, 150)  # the decision is made near the limit
        codes = np.round(loop_code(emf_mv(near) - emf_mv(cold_codes * one.cold_degc_per_code), cold_codes * one.cold_degc_per_code,
                                   chip=setting.chip, gain=setting.gain, resolution_bits=setting.resolution_bits)).astype(int)  # fmt: skip
        degc, reason = to_degc(
            codes, cold_codes, 0, chip=setting.chip, gain=setting.gain, resolution_bits=setting.resolution_bits
        )
        usable = (reason == 0) & np.isfinite(exact.limit_degc)
        assert usable.mean() > 0.9
        of_table = np.array([
            wire.margin_centi(references[row["channel"]], row, int(hot), int(cold), int(air)) / 100
            for hot, cold, air in zip(codes, cold_codes, air_units, strict=True)
        ])  # fmt: skip
        worst = max(worst, float(np.abs(of_table - (exact.limit_degc - degc))[usable].max()))
    assert 0 < worst < 0.5


def test_a_measured_line_pressure_replaces_the_stated_one_in_the_line_only(car, fuel):
    _, references, limits = tables_for(car, fuel, KINDS["MAX31856 gain 32"])
    line, needle = [row for row in limits if row["channel"] == 2 and row["state"] == wire.RUNNING]
    args = (references[2], line, 5000, 8000, 9500)
    assert wire.margin_centi(*args, line_units=0) < wire.margin_centi(*args) < wire.margin_centi(*args, line_units=6000)
    assert wire.margin_centi(references[2], needle, 5000, 8000, 9500, 0) == wire.margin_centi(
        references[2], needle, 5000, 8000, 9500
    )


def test_the_lag_is_sent_with_the_limit_and_older_sets_are_read(car, fuel):
    made = board_tables(car, fuel, dict.fromkeys(range(3), KINDS["MAX31856 gain 32"]), MADE)
    _, _, limits = wire.check(made.head, list(made.pieces))
    assert {row["channel"]: row["lag_ms"] for row in limits} == {p.channel: round(1000 * p.probe.lag_s) for p in car.places}
    older = next(piece for piece in made.pieces if wire.unpack(piece)["kind"] == wire.LIMIT)[:-2]
    assert wire.unpack(older)["lag_ms"] is None
    for length in (len(older) - 1, len(older) + 1):
        with pytest.raises(wire.TableError):
            wire.unpack((older + b"\0\0\0")[:length])
    assert wire.unpack(made.head[:1] + b"\1" + made.head[2:])["version"] == 1
    with pytest.raises(wire.TableError, match="knows 1 to 2"):
        wire.unpack(made.head[:1] + b"\3" + made.head[2:])


def test_every_block_fits_one_command(car, fuel):
    made = board_tables(car, fuel, dict.fromkeys(range(3), KINDS["MAX31856 gain 32"]), MADE)
    room = PAYLOAD_MAX - 9 - 4  # header, and the fixed fields of a command
    assert [row[0] for row in COMMAND] == ["sequence", "code", "argument_length", "argument"]
    assert max(len(piece) for piece in (made.head, *made.pieces)) <= room


def test_head_holds_age_altitude_and_the_fallback_air_pressure(car, fuel):
    head, _, _ = tables_for(car, fuel, KINDS["MAX31856 gain 32"])
    assert head["made"] == MADE.timestamp()
    assert head["altitude_m"] == 600
    assert head["air_units"] == pytest.approx(9432, abs=1)  # standard atmosphere at 600 m


def test_a_calibration_moves_the_limits_to_the_probes_reading_there_and_narrows_the_warning(car, fuel):
    setting = KINDS["MAX31856 gain 32"]
    one = scale(setting.chip, setting.gain, setting.resolution_bits)
    line = ChannelCalibration(place="pump", gain=0.98, offset_degc=-3.0, uncertainty_degc=0.3, made_on=MADE.date())
    calibration = Calibration(board_id="0123456789abcdef", channels={1: line})
    plain = board_tables(car, fuel, dict.fromkeys(range(3), setting), MADE)
    made = board_tables(car, fuel, dict.fromkeys(range(3), setting), MADE, calibration)
    _, references, limits = wire.check(made.head, list(made.pieces))
    _, _, plain_limits = wire.check(plain.head, list(plain.pieces))
    cold = round(25 / one.cold_degc_per_code)
    for row, before in zip(limits, plain_limits, strict=True):
        if row["channel"] != 1:
            assert row == before
            continue
        assert row["warn_centi"] < before["warn_centi"]
        true_degc = 55.0
        code = round(float((emf_mv((true_degc + 3.0) / 0.98) - emf_mv(25.0)) / loop_emf_mv(1, 0.0, one)))
        exact = margins(
            car, fuel, {"pump": np.array([true_degc])}, Conditions(running=float(row["state"]), ambient_pressure_kpa=95.0)
        )["pump"]
        of_table = wire.margin_centi(references[1], row, code, cold, 9500) / 100
        assert of_table == pytest.approx(float(exact.margin_degc[0]), abs=0.5)
    assert [note.split(":")[0] for note in made.notes if "calibration" in note] == ["tank", "carb_inlet"]


def test_values_of_a_table_by_hand(car, fuel):
    """Counts per degC as the probe reads them, pressures in 10 Pa from 25 to 500 kPa, and an uncertainty too large for the wire
    clipped to its maximum."""
    setting = KINDS["MAX31856 gain 32"]
    line = ChannelCalibration(place="pump", gain=0.95, offset_degc=0.0, uncertainty_degc=0.3, made_on=MADE.date())
    doubtful = Fuel(**{**{name: getattr(fuel, name) for name in fuel.__dataclass_fields__}, "limit_uncertainty_degc": 700.0})
    made = board_tables(
        car, doubtful, dict.fromkeys(range(3), setting), MADE, Calibration(board_id="0123456789abcdef", channels={1: line})
    )
    _, references, limits = wire.check(made.head, list(made.pieces))
    count_mv = float(loop_emf_mv(1, 0.0, scale(setting.chip, setting.gain, setting.resolution_bits))) / (
        1 << references[1]["shift"]
    )
    per_degc = float(emf_mv(60.5) - emf_mv(59.5)) / count_mv
    for row in limits:
        assert row["per_degc"] == pytest.approx(per_degc / (0.95 if row["channel"] == 1 else 1.0), rel=0.002)
        assert (row["xs"][0], row["xs"][-1], row["warn_centi"]) == (2500, 50000, 65535)


def test_a_place_on_a_channel_that_the_board_lacks_is_refused(car, fuel):
    with pytest.raises(InputError, match="carb_inlet is on channel 2"):
        board_tables(car, fuel, {0: KINDS["MAX31855"], 1: KINDS["MAX31855"]}, MADE)


@given(st.lists(st.integers(-30000, 30000), min_size=2, max_size=20, unique=True), st.data())
def test_lookup_is_exact_at_its_nodes_and_between_them_elsewhere(xs, data):
    xs = sorted(xs)
    ys = data.draw(st.lists(st.integers(-400000, 400000), min_size=len(xs), max_size=len(xs)))
    for x, y in zip(xs, ys, strict=True):
        assert wire.lookup(xs, ys, x) == y
    x = data.draw(st.integers(xs[0], xs[-1]))
    found = wire.lookup(xs, ys, x)
    assert abs(found - np.interp(x, xs, ys)) <= 1
    assert wire.lookup(xs, ys, xs[0] - 1) == wire.NO_VALUE == wire.lookup(xs, ys, xs[-1] + 1)


@given(st.binary(max_size=200), st.integers(0, 3))
def test_any_bytes_raise_only_the_readers_own_error(junk, kind):
    try:
        row = wire.unpack(bytes([kind]) + junk)
    except wire.TableError:
        return
    assert row["kind"] == kind


def test_a_damaged_or_incomplete_set_is_refused(car, fuel):
    made = board_tables(car, fuel, dict.fromkeys(range(3), KINDS["MAX31856 gain 32"]), MADE)
    pieces = list(made.pieces)
    damaged = bytearray(pieces[1])
    damaged[-1] ^= 1
    for wrong in (pieces[:-1], [*pieces[:1], bytes(damaged), *pieces[2:]], [*pieces, pieces[0]]):
        with pytest.raises(wire.TableError):
            wire.check(made.head, wrong)


def test_micropython_reads_the_same_margins(car, fuel, tmp_path, micropython):
    made = board_tables(car, fuel, dict.fromkeys(range(3), KINDS["MAX31855"]), MADE)
    _, references, limits = wire.check(made.head, list(made.pieces))
    asked = [
        (row, hot, cold, air) for row in limits for hot, cold, air in ((240, 560, 9432), (-5, -320, 7000), (300, 1360, 10130))
    ]
    expected = [wire.margin_centi(references[row["channel"]], row, hot, cold, air) for row, hot, cold, air in asked]
    script = tmp_path / "margins.py"
    script.write_text(
        "from hotfuel_wire import limit_tables as wire\n"
        f"_, references, limits = wire.check({made.head!r}, {list(made.pieces)!r})\n"
        "for row in limits:\n"
        "    for hot, cold, air in ((240, 560, 9432), (-5, -320, 7000), (300, 1360, 10130)):\n"
        "        print(wire.margin_centi(references[row['channel']], row, hot, cold, air))\n"
    )
    assert [int(line) for line in micropython(script).split()] == expected
