"""A receiver's sentences: published examples and checksums, damage of every kind, and its time against the computer's."""

import numpy as np
import pytest
from hotfuel.session.positions import KNOT_M_S, fix_of, positions
from hotfuel.simulator import circuit
from hypothesis import given
from hypothesis import strategies as st

BEGAN_S = 1_780_000_000.0


def made(laps=2, noise_m=0.5, delay_s=0.08, seed=1, period_s=0.2):
    """(sentences, when they came)."""
    rng = np.random.default_rng(seed)
    track = circuit.Circuit()
    driven = circuit.drive(track, laps, rng, period_s)
    pairs = list(circuit.sentences(track, driven, BEGAN_S, noise_m, rng))
    return [text for _, text in pairs], np.array([BEGAN_S + at for at, _ in pairs]) + delay_s + 0.02 * rng.random(len(pairs))


@pytest.mark.parametrize(
    ("sentence", "wanted"),
    [  # examples that many receivers' data sheets have, with their checksums (from memory)
        (b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", (45319, 48.1173, 11.516667, 22.4 * KNOT_M_S)),
        (b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", (45319, 48.1173, 11.516667, np.nan)),
        (b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68", (82486, 49.274167, -123.185333, 0.5 * KNOT_M_S)),
    ],
)
def test_published_sentences(sentence, wanted):
    fix = fix_of(sentence)
    assert (fix.time_s, fix.latitude_deg, fix.longitude_deg, fix.speed_m_s) == pytest.approx(wanted, abs=1e-6, nan_ok=True)
    body = sentence[1:].partition(b"*")[0].decode()
    assert circuit.closed(body) == sentence
    for at in range(1, len(sentence) - 3):  # any one byte changed breaks the checksum
        assert fix_of(sentence[:at] + bytes([sentence[at] ^ 1]) + sentence[at + 1 :]) is None


def test_a_receiver_without_a_fix_and_other_sentences_give_no_position():
    assert fix_of(b"$GPRMC,,V,,,,,,,,,,N*53") is None
    assert fix_of(circuit.rmc(BEGAN_S, 48.0, 11.0, 0.0, 0.0, valid=False)) is None
    assert fix_of(circuit.gga(BEGAN_S, 48.0, 11.0, quality=0)) is None
    assert fix_of(b"$GPGSV,1,1,00*79") is None
    assert fix_of(b"") is None
    assert fix_of("\u00e9".encode()) is None
    assert fix_of(circuit.closed("GPRMC,120000,A,4807.038,N,,,0,0,010101,,")) is None
    assert fix_of(circuit.closed("GPRMC,120000,A,9907.038,N,01131.000,E,0,0,010101,,")) is None


@given(st.binary(max_size=100), st.text(max_size=80))
def test_no_sentence_raises(raw, body):
    fix_of(raw)
    fix_of(b"$GPRMC," + raw)
    fix_of(circuit.closed("GPRMC," + body.encode("ascii", "replace").decode()))
    fix_of(circuit.closed("GPGGA," + body.encode("ascii", "replace").decode()))


@given(st.floats(-89.9, 89.9), st.floats(-179.9, 179.9), st.floats(0, 100), st.integers(0, 10**8))
def test_the_simulators_sentences_are_read_back(latitude, longitude, speed, second):
    fix = fix_of(circuit.rmc(second, latitude, longitude, speed, 12.0))
    assert (fix.latitude_deg, fix.longitude_deg) == pytest.approx((latitude, longitude), abs=2e-7)
    assert fix.speed_m_s == pytest.approx(speed, abs=0.006)
    assert fix.time_s == pytest.approx(second % 86400, abs=0.011)


def test_fixes_are_timed_by_the_receivers_own_steps_and_its_earliest_sentences():
    texts, came = made()
    came[40::7] += 0.6  # a busy port
    found = positions(texts, came)
    assert found.notes == ()
    assert np.diff(found.seconds) == pytest.approx(np.full(len(found.seconds) - 1, 0.2), abs=0.01)
    assert found.seconds[0] - BEGAN_S == pytest.approx(0.09, abs=0.02)


def test_a_port_that_stalls_shifts_no_fix():
    """Half a minute in which the computer reads nothing, then all of it at once."""
    texts, came = made(4)
    whole = positions(texts, came)
    stalled = (came > came[0] + 40) & (came < came[0] + 70)
    late = np.where(stalled, came[0] + 70.01, came)
    found = positions(texts, late)
    assert found.notes == ()
    assert found.seconds == pytest.approx(whole.seconds, abs=0.03)


def test_two_sentences_of_one_time_give_one_fix_with_a_speed():
    texts, came = made()
    found = positions(texts, came)
    assert len(found.seconds) == len(texts) / 2
    assert np.isfinite(found.speed_m_s).all()


@pytest.mark.parametrize("by_s", [1.0, -18.0, 3600.0, 40000.0])
def test_a_receivers_clock_step_shifts_no_fix(by_s):
    """A leap second applied late, GPS time before the almanac came, a wrong zone, a wrong time of day."""
    rng = np.random.default_rng(2)
    track = circuit.Circuit()
    driven = circuit.drive(track, 2, rng)
    came, texts = [], []
    for row, (at, _) in enumerate(circuit.sentences(track, driven, BEGAN_S, 0.0, rng)):
        if row % 2 == 0:
            own = BEGAN_S + at + (by_s if row > 300 else 0.0)
            texts.append(circuit.rmc(own, 40.0 + 1e-5 * row, -40.0, 10.0, 0.0))
            came.append(BEGAN_S + at + 0.1)
    found = positions(texts, np.array(came))
    assert found.seconds == pytest.approx(np.array(came), abs=0.03)
    assert any("time was set once during the drive" in note for note in found.notes)


def test_midnight_and_a_wrong_date_have_no_effect():
    rng = np.random.default_rng(3)
    midnight = 1_780_012_800.0 - 60.0  # 00:00 UTC is one minute in
    assert (midnight + 60) % 86400 == 0
    texts = [circuit.rmc(midnight + k - 619_315_200.0 * (k > 50), 40.0, -40.0, 0.0, 0.0) for k in range(120)]  # 1024 weeks back
    found = positions(texts, midnight + np.arange(120.0) + 0.05 * rng.random(120))
    assert np.diff(found.seconds) == pytest.approx(np.ones(119), abs=0.01)
    assert found.notes == ()


@pytest.mark.parametrize("by_s", [0.0, 3600.0, -7200.0, 43000.0, -43000.0])
def test_how_far_the_timeline_is_ahead_of_the_receivers_time_of_day(by_s):
    texts, came = made()
    assert positions(texts, came + by_s).ahead_s == pytest.approx(by_s + 0.09, abs=0.03)


def test_jumps_are_left_out_and_reported_and_a_new_place_is_accepted_in_the_end():
    at = np.arange(100.0)
    north = 40.0 + 1e-4 * at
    north[30:32] += 0.5
    north[60:] += 0.2  # it was wrong before, or was carried
    found = positions([circuit.rmc(BEGAN_S + t, n, -40.0, 11.0, 0.0) for t, n in zip(at, north, strict=True)], BEGAN_S + at)
    assert "2 of 100 positions were jumps and are left out." in found.notes
    assert len(found.seconds) == 98
    assert found.latitude_deg[-1] == pytest.approx(north[-1], abs=1e-6)


def test_a_receiver_without_any_position_is_reported():
    found = positions([b"$GPRMC,,V,,,,,,,,,,N*53"] * 3, np.arange(3.0))
    assert (len(found.seconds), found.notes) == (0, ("The receiver never had a position.",))


@given(st.lists(st.one_of(st.sampled_from(made(1)[0][:200]), st.binary(max_size=60)), max_size=40), st.integers(0, 5))
def test_any_order_of_any_sentences_gives_rising_seconds(texts, seed):
    came = np.sort(np.random.default_rng(seed).uniform(0, 100, len(texts)))
    found = positions(texts, came)
    assert (np.diff(found.seconds) > 0).all()
    assert len(found.latitude_deg) == len(found.seconds) <= len(texts)
