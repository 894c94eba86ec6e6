"""Laps on a made-up circuit, against the true drive: by line, by mark, by hand, found automatically; where margin is lost; what is private."""

import json
import shutil

import lapped
import numpy as np
import pytest
from hotfuel.errors import InputError, UsageError
from hotfuel.report import lap_page, lap_words, review_tables, words
from hotfuel.report.session_notes import all_notes
from hotfuel.session import folder
from hotfuel.session import open as open_session
from hotfuel.session.export import table
from hotfuel.session.folder import LAP_LINE
from hotfuel.study.drive import crossings, ground
from hotfuel.study.drive.course import of_session
from hotfuel.study.drive.crossings import Basis
from hotfuel.study.drive.laps import laps
from hotfuel.study.drive.phases import LAP, phases
from hotfuel.study.fixes.lapped import whole_laps
from hotfuel.study.story import tell
from hotfuel.units import Shown

_EAST_M = 260.0 * (1 + 0.36 * np.cos(0.5) + 0.14)
LINE = ground.Line(40.0, -40.0 + _EAST_M / (111_120 * np.cos(np.radians(40.0))), 330.0)  # the circuit's own


@pytest.fixture(scope="module")
def driven(tmp_path_factory):
    return lapped.laps(tmp_path_factory.mktemp("laps") / "trackday")


def test_laps_found_by_the_paths_own_crossing_have_the_driven_times(driven):
    session, truth, track = driven
    found = laps(session)
    assert found.basis is Basis.OWN
    assert len(found.laps) == 6
    for lap, wanted in zip(found.laps, np.diff(truth.crossed_s), strict=True):
        assert abs(lap.time_s - wanted) <= 3 * lap.time_u_s + 0.02 * wanted  # another line: laps of another pace share its path
        assert lap.length_m == pytest.approx(track.length_m, rel=0.02)
        assert lap.note == ""


def test_a_line_given_by_hand_gives_each_lap_within_its_uncertainty(driven):
    session, truth, _ = driven
    found = laps(session, LINE)
    errors = np.array([lap.time_s for lap in found.laps]) - np.diff(truth.crossed_s)
    doubts = np.array([lap.time_u_s for lap in found.laps])
    assert (np.abs(errors) <= 3 * doubts).all()
    assert doubts.max() < 0.1
    # the other way round nothing crosses it
    with pytest.raises(InputError, match="holds no lap"):
        laps(session, ground.Line(LINE.latitude_deg, LINE.longitude_deg, 150.0))


def test_a_slow_receiver_gives_a_larger_uncertainty(tmp_path):
    session, truth, _ = lapped.laps(tmp_path / "slow", 4, period_s=1.0, noise_m=2.0)
    found = laps(session)
    errors = np.diff([lap.time_s for lap in found.laps]) - np.diff(np.diff(truth.crossed_s))
    assert len(found.laps) == 4
    assert np.abs(errors).max() < 1.0
    assert all(len(lap_words.lap_time(lap, found.period_s).partition(".")[2]) <= 1 for lap in found.laps)


def test_a_receivers_positions_in_the_boards_store_give_laps(tmp_path):
    """Ten positions a message, one a second, no sentence anywhere: a drive without a laptop."""
    session, truth, track = lapped.laps(tmp_path / "stored", 4, period_s=0.2, noise_m=1.0, at_board=True)
    assert session.positions.period_s == pytest.approx(1.0, abs=0.01)
    there = ground.Plane(track.latitude_deg, track.longitude_deg)
    x_m, y_m = there.metres(session.positions.latitude_deg, session.positions.longitude_deg)
    at = session.positions.seconds - session.positions.seconds[0] + truth.time_s[0]
    apart = np.hypot(x_m - np.interp(at, truth.time_s, truth.x_m), y_m - np.interp(at, truth.time_s, truth.y_m))
    assert np.median(apart) < 5.0
    assert apart.max() < 15.0
    found = laps(session)
    assert found.basis is Basis.OWN
    assert len(found.laps) == 4
    for lap, wanted in zip(found.laps, np.diff(truth.crossed_s), strict=True):
        assert abs(lap.time_s - wanted) <= 3 * lap.time_u_s + 0.02 * wanted
        assert lap.length_m == pytest.approx(track.length_m, rel=0.03)


def test_a_mark_gives_the_line_and_the_button_gives_laps_without_a_receiver(tmp_path):
    session, truth, _ = lapped.laps(tmp_path / "marked", 4, marks=[(20.0, "start line")])
    found = laps(session)
    assert found.basis is Basis.BY_MARK
    assert len(found.laps) >= 3
    session, truth, _ = lapped.laps(tmp_path / "by hand", 4, receiver=False, hand_marks=True)
    found = laps(session)
    assert (found.basis, len(found.laps), found.path) == (Basis.MARKS, 4, None)
    assert [lap.time_s for lap in found.laps] == pytest.approx(list(np.diff(truth.crossed_s)), abs=1.6)


@pytest.mark.parametrize(
    ("off_s", "at_board", "said"),
    [
        (3600.0, False, "60 min ahead of the satellite receiver's: take 60 min off them for the receiver's time."),
        (-7200.0, False, "2.0 h behind the satellite receiver's: add 2.0 h to them for the receiver's time."),
        (18.0, True, "18 s ahead of the satellite receiver's: take 18 s off them for the receiver's time."),
        (3.0, False, ""),
    ],
)
def test_a_receivers_time_that_differs_from_the_clocks_is_told(tmp_path, off_s, at_board, said):
    session, _, _ = lapped.laps(tmp_path / "clock", 3, receiver_off_s=off_s, at_board=at_board)
    told = [note for note in all_notes(session) if "receiver" in note]
    assert told == ([f"Times shown are by the recording's clock, which was {said}"] if said else [])


def test_a_dropout_during_a_lap_is_marked(tmp_path):
    session, _, _ = lapped.laps(tmp_path / "gap", 5, without=[(130.0, 140.0)])
    found = laps(session)
    missing = [lap for lap in found.laps if lap.note == "positions missing"]
    assert len(missing) == 1
    assert missing[0].start_s < 130 < missing[0].end_s
    assert len(found.laps) == 5


@pytest.fixture(scope="module", params=[1, 2])
def not_seen(request, tmp_path_factory):
    """(laps whose crossing at the end was not seen, all laps, true crossings, the session)."""
    missed, count = request.param, 6 + request.param
    _, truth = lapped.true_drive(count, np.random.default_rng(1))
    gap = (truth.crossed_s[2] - 9.0, truth.crossed_s[1 + missed] + 9.0)
    session, driven, _ = lapped.laps(tmp_path_factory.mktemp("not seen") / "gap", count, seed=1, without=[gap])
    assert (driven.crossed_s == truth.crossed_s).all()
    return missed, count, truth.crossed_s, session


def test_laps_whose_crossing_was_not_seen_are_counted_by_their_time(not_seen):
    missed, count, at, session = not_seen
    found = laps(session, LINE)
    assert sum(lap.count for lap in found.laps) == count
    (joined,) = (lap for lap in found.laps if lap.count > 1)
    assert (joined.number, joined.count) == (2, 1 + missed)
    assert joined.time_s == pytest.approx(at[2 + missed] - at[1], abs=1.0)  # one time, nothing invented between
    after = found.laps[found.laps.index(joined) + 1]
    assert (after.number, after.start_s) == (3 + missed, pytest.approx(at[2 + missed], abs=1.0))
    said = lap_words.sentences(found, Shown("si"))
    assert said[0].startswith(f"{count} laps, by the line as given")
    assert any(line.startswith(f"Laps {'2 and 3' if missed == 1 else '2 to 4'} have one time") for line in said)
    assert lap_words.note(joined) == f"positions missing, {1 + missed} laps by the time"


def test_a_phase_of_several_laps_is_named_so_and_counts_as_none(not_seen, tmp_path):
    """Two laps between which the line was not seen stood among the phases as one, and every later lap had the number of the one before."""
    missed, count, _, unmarked = not_seen
    shutil.copytree(unmarked.folder.path, tmp_path / "gap")
    (tmp_path / "gap" / LAP_LINE).write_text(str(LINE), encoding="utf-8")
    session = open_session(tmp_path / "gap")
    course = of_session(session)
    found = [one for one in phases(course) if one.kind == LAP]
    (joined,) = (one for one in found if one.laps > 1)
    assert (joined.lap, joined.laps, joined.name) == (2, 1 + missed, f"laps #2 to #{2 + missed}")
    assert [one.lap for one in found] == [1, 2, *range(3 + missed, count + 1)]
    assert [one.lap for one in whole_laps(found)] == [1, *range(3 + missed, count + 1)]
    table = review_tables.phases(tell(course), session, Shown("si"), words.Clock(True, 0))
    assert [row[0] for row in table.rows if "#" in row[0]][1] == f"{joined.name} (line not seen between)"
    later = phases(course.cut(joined.start_s - 2.0, course.time_s[-1]))
    assert next(one for one in later if one.kind == LAP).laps == 1 + missed, "in a part of the recording too"


def test_the_sector_that_warms_the_pump_is_named_with_its_spread(driven):
    session, _, track = driven
    found = laps(session)
    assert found.place == "pump"
    worst = found.costliest()
    assert worst is not None
    # the line found is elsewhere: look where the temperature rises
    rising = [one for one in found.sectors if one.low_degc > 0]
    assert worst in rising
    assert sum(one.loss_degc for one in rising) == pytest.approx(lapped.RISE_DEGC, abs=0.8)
    assert sum(one.loss_degc for one in found.sectors) == pytest.approx(0.0, abs=0.3)
    assert sum(one.to_m - one.from_m for one in rising) <= 0.4 * track.length_m
    assert all(one.low_degc < one.loss_degc < one.high_degc for one in found.sectors)
    said = " ".join(lap_words.sentences(found, Shown("us")))
    assert "pump loses" in said
    assert "6 laps" in said


def test_laps_are_phases_and_a_road_used_twice_is_not_a_lap(driven, tmp_path):
    session, _, _ = driven
    assert sum(phase.kind == LAP for phase in phases(of_session(session))) == 6
    session, _, _ = lapped.laps(tmp_path / "once", 1)
    assert not any(phase.kind == LAP for phase in phases(of_session(session)))
    with pytest.raises(InputError, match="holds no lap"):
        laps(session)


def test_a_line_stored_with_the_log_is_used(driven, tmp_path):
    session, _, _ = lapped.laps(tmp_path / "kept", 3)
    other = laps(session).line
    (tmp_path / "kept" / folder.LAP_LINE).write_text(str(other))
    again = laps(session)
    assert again.basis is Basis.GIVEN
    assert lap_words.as_dict(again)["basis"] == "by the line as given"
    assert [lap.time_s for lap in again.laps] == pytest.approx([lap.time_s for lap in laps(session, other).laps], abs=0.01)
    (tmp_path / "kept" / folder.LAP_LINE).write_bytes(b"\xff nonsense")
    assert laps(session).basis is Basis.OWN


def test_positions_are_in_nothing_that_is_shared_unless_asked(driven):
    session, _, _ = driven
    found = laps(session)
    shared = json.dumps(found.as_dict())
    assert str(found.line) not in shared
    assert "39.99" not in shared and "40.00" not in shared
    assert json.loads(json.dumps(found.as_dict(with_positions=True)))["line"] == str(found.line)
    assert not [name for name in table(session).columns if "latitude" in name or "longitude" in name]
    assert "latitude_deg" in table(session, with_positions=True).columns


@pytest.mark.parametrize(
    "text", ["", "48.1 11.2", "north", "48,1 11,2 heading x", "98 11 heading 3", "48 11 heading 400", "48 11 heading -3"]
)
def test_an_invalid_line_is_refused_in_a_sentence(text):
    with pytest.raises(UsageError, match="heading|allowed"):
        ground.parse(text)


def test_a_line_written_is_read_back():
    line = ground.Line(-12.345678, 170.123456, 359.0)
    assert ground.parse(str(line)) == line
    assert crossings.is_lap("Lap 3")
    assert not crossings.is_lap("lap line")
    assert not crossings.is_lap("overlap")


def test_the_page_draws_the_path_with_shapes_and_without_coordinates(driven):
    session, _, _ = driven
    found = laps(session)
    text = lap_page.render(found, session, Shown("us"))
    drawing = text[text.index('<svg class="track"') :].partition("</svg>")[0]
    assert drawing.count("<circle") + drawing.count("<path") > 200
    assert "ft</text>" in drawing
    ends = [tuple(map(float, pair.split(","))) for pair in drawing.partition('points="')[2].partition('"')[0].split()]
    x, y = np.array(ends).T
    path = found.path
    on_laps = slice(np.searchsorted(path.seconds, found.start_s + found.laps[0].start_s), None)
    shape = np.ptp(x) / np.ptp(y)
    # same scale in both directions
    assert shape == pytest.approx(np.ptp(path.x_m[on_laps]) / np.ptp(path.y_m[on_laps]), rel=0.02)
    assert "40.0" not in text.replace("140.0", "") or str(found.line)[:6] not in text
    assert "Where the pump loses margin" in text
    assert "SIMULATED" not in text


def test_laps_of_a_simulated_board_say_so(driven, monkeypatch):
    session, _, _ = driven
    monkeypatch.setitem(session.metadata, "simulated", True)
    text = lap_page.render(laps(session), session, Shown("us"))
    assert ">SIMULATED<" in text
    assert "simulated, no real car" in text
