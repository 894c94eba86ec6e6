"""The live state against the same recording read as a whole, on growing, damaged and restarted logs."""

import errno
import math
import os
import random
import shutil
import time

import numpy as np
import pytest
import synthetic
from hotfuel import car as car_file
from hotfuel import session as sessions
from hotfuel.live import forecasts, history
from hotfuel.live.state import LiveState
from hotfuel.live.wording import panel
from hotfuel.log.append import LogWriter
from hotfuel.risk.level import Level
from hotfuel.units import Shown
from hotfuel_wire import framing
from hotfuel_wire.messages import NO_ANSWER, TYPES


@pytest.fixture(scope="module")
def drive():
    return synthetic.drive(800.0)


def read(state, budget_s=60.0):
    while state.advance(budget_s):
        pass
    return state


def batches(path, pieces=None):
    """All batches of a log, given to the state in pieces of these sizes (None: as a follower reads them)."""
    seen = []
    with LiveState(path) as state:
        state.watch = seen.append
        if pieces is None:
            read(state)
        else:
            data = (path / "wire.log").read_bytes()
            at = 0
            while at < len(data):
                size = next(pieces)
                for one in state.intake.feed(data[at : at + size]):
                    state._take(one) if hasattr(one, "degc") else state._hear(one)
                at += size
    return seen


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_the_live_numbers_are_those_of_the_whole_session(session, drive, seed):
    path = session(drive.data)
    pieces = None
    if seed is not None:
        generator = random.Random(seed)
        pieces = iter(lambda: generator.choice((300, 900, 4000, 20000)), None)
    seen = batches(path, pieces)
    whole = sessions.open(path)
    assert np.array_equal(np.concatenate([b.degc for b in seen]), whole.temperatures().to_numpy(), equal_nan=True)
    seconds = np.concatenate([b.seconds for b in seen])
    # an auxiliary that arrives after its reading counts for the next one, which matters only where the engine's state changes
    settled = (seconds > 3) & ~((seconds > 19) & (seconds < 28)) & ~((seconds > 449) & (seconds < 458))
    assert settled.mean() > 0.97
    margins = whole.margins()
    for place in ("tank", "pump", "carb_inlet", "carb_inlet_needle"):
        for name in ("limit_degc", "margin_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio", "state"):
            ours = np.concatenate([getattr(b.margins[place], name) for b in seen])
            column = margins[f"{place}_{name}"]
            moving = (column.cat.codes if name == "state" else column).to_numpy()
            assert np.allclose(ours[settled], moving[settled], rtol=0, atol=1e-9, equal_nan=True), (place, name)


def test_unseen_pulses_are_unknown_on_the_live_page_too(session):
    made = synthetic.Recording()
    for second in range(40):
        for tick in range(5):
            made.reading(second + tick * 0.2, (30, 40, 50))
        made.auxiliary(second, pulses=0 if second < 15 else 100 * (min(second, 25) - 14))
    seen = batches(session(made.data))
    running, seconds = (
        np.concatenate([batch_of(b) for b in seen]) for batch_of in (lambda b: b.inputs["running"], lambda b: b.seconds)
    )
    assert np.isnan(running[seconds < 14]).all()
    assert (running[(seconds > 17) & (seconds < 24)] == 1).all()
    assert (running[seconds > 32] == 0).all()


@pytest.mark.parametrize("described", [True, False])
def test_a_boots_first_readings_count_whatever_message_follows(session, described):
    """All in one piece: the boot is placed on the axis by its first reading, not by the message after it."""
    before, after = synthetic.Recording(), synthetic.Recording(boot_count=2)
    for tick in range(200):  # longer than the next boot: where its description was lost, it is recognised by its earlier time
        before.reading(tick * 0.2, (30, 40, 50))
    for tick in range(76, 120):
        after.reading(tick * 0.2, (30, 40, 50))
        if tick == 94:
            after.mark(tick * 0.2, "here")
    frames = [frame for frame in after.data.split(b"\0") if frame]
    (at,) = (n for n, frame in enumerate(frames) if framing.decode(frame)[0] & 0x7F == TYPES["description"])
    kept = frames if described else frames[:at] + frames[at + 1 :]
    seen = batches(session(before.data + b"".join(b"\0" + frame + b"\0" for frame in kept)), iter(lambda: 1 << 20, None))
    assert np.concatenate([batch.tick for batch in seen]).tolist() == [*range(200), *range(76, 120)]


def test_the_host_warns_when_the_whole_session_does(session, drive):
    path = session(drive.data)
    alarms = sessions.open(path).alarms()
    start = sessions.open(path).temperatures().index[0]
    with LiveState(path) as state:
        read(state)
        for place in ("pump", "carb_inlet"):
            of_place = alarms[(alarms["place"] == place) & (alarms["level"] != "lost")]
            spell = state.host.spells[place]
            assert spell.begin == pytest.approx((of_place["start"].min() - start).total_seconds(), abs=0.01)
            assert spell.end == pytest.approx((of_place["end"].max() - start).total_seconds(), abs=0.01)
        assert state.situation().winks  # an alarm happened and nobody has acknowledged it


def test_states_and_the_smallest_margin_so_far(session, drive):
    made = synthetic.drive(400.0)
    with LiveState(session(made.data)) as state:
        now = read(state).situation()
    least = min(now.places, key=lambda place: place.margin_degc)
    assert panel(now, Shown("si"))["head"]["place"] == least.name == "pump"
    assert least.degc == pytest.approx(synthetic.climb(399.8)[1], abs=0.02)
    assert least.margin_degc < 0
    states = {place.name: place.state for place in now.places}
    assert states["pump"] == Level.ACT
    assert states["tank"] == Level.QUIET
    assert states["carb_inlet_needle"] == Level.WARN
    assert now.first == "pump"
    assert not now.board_warns
    assert now.standing is False
    assert now.marks == ()


def test_behind_the_needle_the_time_to_its_own_limit_is_given(session):
    made = synthetic.Recording()
    for number in range(750):
        time_s = number * 0.2
        if number % 5 == 0:
            made.auxiliary(time_s, 20 * number, fuel_pressure_percent=10 + 80 * 5.5 / 15, battery_v=13.8)
        made.reading(time_s, [30.0, 40.0, 53.0 + 2 * time_s / 60])
    with LiveState(session(made.data)) as state:
        places = {place.name: place for place in read(state).situation().places}
    line, needle = places["carb_inlet"], places["carb_inlet_needle"]
    assert line.limit_degc - needle.limit_degc > 5
    fuel = car_file.load(car_file.EXAMPLE).fuel()
    at_degc = [58.0, 56.0, needle.limit_degc, line.limit_degc]
    now, a_minute_ago, limit, line_limit = fuel.enthalpy_kj_per_kg(at_degc, line.pressure_kpa)
    assert needle.trend.minutes == pytest.approx((limit - now) / (now - a_minute_ago), rel=0.05)
    assert line.trend.minutes == pytest.approx((line_limit - now) / (now - a_minute_ago), rel=0.05)
    assert line.trend.minutes > needle.trend.minutes + 5


def test_a_log_that_grows_is_followed(session, drive):
    path = session()
    data = drive.data
    clock = [100.0]
    with LogWriter(path / "wire.log") as writer, LiveState(path, clock=lambda: clock[0]) as state:
        state.advance()
        assert state.live
        assert state.situation().places == ()
        assert math.isnan(state.situation().age_s)
        writer.received(data[:30000])
        assert state.advance(60)
        first = state.situation()
        assert first.age_s == 0
        assert first.live
        clock[0] += 7.5
        assert not state.advance()
        assert state.situation().age_s == pytest.approx(7.5)
        writer.received(data[30000:])
        read(state)
        assert state.situation().age_s == 0
        assert state.situation().at > first.at
        assert state.situation().marks == ((450.0, "stopped at the top"),)
    with LiveState(path) as state:
        assert not read(state).live


def test_a_part_kept_elsewhere_is_reported_while_it_is(session, drive, tmp_path, monkeypatch):
    """In the view of anyone watching, not only in the recorder's terminal: where it is, and nothing more once it is back."""
    monkeypatch.setenv("HOTFUEL_FALLBACK", str(tmp_path / "kept"))
    path, full, clock = session(), [False], [100.0]

    def write(fd, data):
        if full[0]:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return os.write(fd, data)

    def disk_rows(state):
        clock[0] += 2.0
        read(state)
        shown = panel(state.situation(), Shown("si"))
        return [row["text"] for row in shown["health"] if row["name"] == "disk"], shown["flags"]

    with (
        LogWriter(path / "wire.log", write=write, clock=lambda: clock[0]) as writer,
        LiveState(path, clock=lambda: clock[0]) as state,
    ):
        writer.received(drive.data[:3000])
        assert disk_rows(state) == ([], [])
        full[0] = True
        writer.received(drive.data[3000:9000])
        (row,), flags = disk_rows(state)
        assert row.startswith("6000 bytes of this drive")
        assert str(tmp_path / "kept") in row
        assert "its recorder puts them back" in row
        assert any("not on its disk" in flag for flag in flags)
        full[0] = False
        writer.work()
        assert disk_rows(state) == ([], [])
        shutil.rmtree(path)
        assert "deleted" in disk_rows(state)[0][0]


def test_an_old_recording_is_as_old_as_its_file(session, drive):
    path = session(synthetic.drive(30.0).data)
    import os

    os.utime(path / "wire.log", (time.time() - 3600,) * 2)
    with LiveState(path) as state:
        assert read(state).situation().age_s == pytest.approx(3600, abs=30)


@pytest.mark.parametrize("seed", range(6))
def test_damage_costs_only_what_it_hits(session, seed):
    data = bytearray(synthetic.drive(60.0).data)
    generator = random.Random(seed)
    for _ in range(len(data) // 200):
        data[generator.randrange(len(data))] = generator.randrange(256)
    whole = 0
    with LiveState(session(bytes(data))) as state:
        state.watch = lambda batch: None
        read(state)
        health = panel(state.situation(), Shown("us"))["health"]
        whole = state.intake.stream.frames.frames
        damaged = state.intake.stream.frames.pieces_damaged
    assert damaged > 20
    assert whole > 100
    assert any(f"{damaged} damaged pieces" in row["text"] and row["bad"] for row in health)


def test_a_lost_sensor_is_reported_with_its_reason_and_its_last_number(session):
    made = synthetic.Recording()
    made.anchor(0.0)
    for number in range(300):
        time_s = number * 0.2
        made.reading(time_s, [30.0, 40.0 if time_s < 30 else NO_ANSWER, 45.0])
    path = session(made.data)
    with LiveState(path) as state:
        now = read(state).situation()
    pump = next(place for place in now.places if place.name == "pump")
    assert pump.state == Level.LOST
    assert math.isnan(pump.degc)
    assert pump.last_degc == pytest.approx(40.0, abs=0.02)
    assert pump.last_age_s == pytest.approx(30.0, abs=0.5)
    assert now.unseen_places == ("pump",)
    assert math.isnan(pump.margin_degc)
    shown = next(place for place in panel(now, Shown("us"))["places"] if place["place"] == "pump")
    assert shown["word"] == "sensor lost"
    assert shown["lost"] == "the amplifier did not answer"
    left_degf = float(sessions.open(path).margins()["pump_margin_degc"].dropna().iloc[-1]) * 1.8
    assert shown["was"] == f"was {left_degf:.1f} °F left, 0:00:29 h"
    assert shown["margin"] == "–"


def test_without_a_usable_car_file_there_are_temperatures_and_a_sentence(session, tmp_path):
    data = synthetic.drive(20.0).data
    without = session(data, None)
    broken = session(data)
    (broken / "car.toml").write_text("units = 7", encoding="utf-8")
    for path, sentence in ((without, "There is no car file in this session"), (broken, "The car file was left out")):
        with LiveState(path) as state:
            now = read(state).situation()
        assert [place.state for place in now.places] == [Level.NO_MARGIN] * 3
        assert all(math.isnan(place.margin_degc) for place in now.places)
        assert now.places[0].degc == pytest.approx(32.1, abs=0.05)
        assert any(note.startswith(sentence) for note in now.notes)


def test_after_a_stop_there_is_a_forecast_marked_as_model_only(session, drive):
    with LiveState(session(drive.data)) as state:
        read(state)
        state.forecaster.pending.result(30)
        state.advance()
        now = state.situation()
    assert now.standing
    assert {outlook.place for outlook in now.outlooks} == {"tank", "pump", "carb_inlet"}
    told = panel(now, Shown("us"))["forecasts"]
    assert told["title"] == "After this stop"
    assert told["note"].startswith("model only")
    pump = next(outlook for outlook in now.outlooks if outlook.place == "pump")
    # the peak has passed: the forecast cannot be below what was measured
    assert pump.soak.peak_degc.least >= 62.0
    assert pump.elapsed_min == pytest.approx(350 / 60, abs=0.3)


def test_memory_does_not_grow_with_the_recording():
    points = history.History()
    since = history.MeansSince()
    since.begin(0.0)
    for block in range(300):
        seconds = block * 60.0 + np.arange(0, 60, 0.2)
        points.add(seconds, {"pump": seconds})
        since.add(float(seconds[0]), {"pump": 1.0})
    assert len(points.points) == history.POINTS
    assert points.points[-1][0] == pytest.approx(300 * 60 - 0.2)
    assert len(since.column("pump")[0]) <= 360
    assert points.since(points.added - 3)[0] == points.points[-3]
    assert len(points.since(0)) == history.POINTS


def test_a_gap_breaks_the_trace():
    points = history.History()
    points.add(np.array([0.0, 1.0, 2.0]), {"pump": np.array([1.0, 2.0, 3.0])})
    points.add(np.array([10.0]), {"pump": np.array([4.0])})
    _, values = points.column("pump")
    assert np.array_equal(values, [1, 2, 3, np.nan, 4], equal_nan=True)


def test_minutes_from_a_stop_become_minutes_from_now():
    from hotfuel.risk.soak import Band

    assert forecasts.later(Band(3.0, 10.0, 20.0), 8.0) == Band(0.0, 2.0, 12.0)
    assert math.isnan(forecasts.later(Band(math.nan, math.nan, math.nan), 8.0).middle)


def test_a_clamp_on_probe_warns_and_never_reaches_act(session):
    text = car_file.EXAMPLE.replace('mount = "axial"', 'mount = "clamp_metal"')
    with LiveState(session(synthetic.drive(400.0).data, text)) as state:
        now = read(state).situation()
    pump = next(place for place in now.places if place.name == "pump")
    assert pump.margin_degc < 0
    assert pump.state == Level.WARN
