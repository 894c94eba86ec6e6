"""An amplifier that repeats one result while the box about it warms has stopped; nothing else looks so."""

import numpy as np
import pytest
from hotfuel.samples import table
from hotfuel.temperature.counts import NO_NEW_CONVERSION
from hotfuel.temperature.stopped import LEAST_ROWS, MOVED_DEGC, Stopped

HZ = 5


def codes(seconds, hot, cold_degc, per_degc=16, boot=0):
    """Scans and their (degc, reason, cold) as scans_degc gives them: hot, cold_degc are functions of the time, (n, channels)."""
    time_s = np.arange(seconds * HZ) / HZ
    cold = np.rint(cold_degc(time_s) * per_degc).astype(int)
    hot = np.rint(hot(time_s) * 4).astype(int)
    scans = np.zeros(len(time_s), table.scans(hot.shape[1]))
    scans["time"], scans["boot"] = time_s, boot
    scans["channels"]["hot"], scans["channels"]["cold"] = hot, cold
    return scans, hot / 4.0, np.zeros(hot.shape, np.uint8), cold / per_degc


def warming(time_s, channels=3):
    """A box that warms by 9 degC in a quarter of an hour, its amplifiers half a degree apart."""
    return 25 + 9 * -np.expm1(-time_s / 900)[:, None] + np.linspace(-0.25, 0.25, channels)


def marked(made, parts=1):
    scans, degc, reason, cold = made
    degc, reason = degc.copy(), reason.copy()
    watch = Stopped()
    for rows in np.array_split(np.arange(len(scans)), parts):
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        watch.mark(scans[part], degc[part], reason[part], cold[part])
    return degc, reason


def stuck(values, from_row, channel=1):
    values = values.copy()
    values[from_row:, channel] = values[from_row, channel]
    return values


def test_a_channel_that_repeats_its_result_while_the_box_warms_by_a_degree_has_stopped():
    hot = lambda t: 50 + 0.02 * t[:, None] + np.zeros(3)  # noqa: E731
    scans, degc, reason, cold = codes(1200, hot, warming)
    begin = 300 * HZ
    scans["channels"]["hot"], scans["channels"]["cold"] = (stuck(scans["channels"][name], begin) for name in ("hot", "cold"))
    made = scans, stuck(degc, begin), reason, stuck(cold, begin)
    found, why = marked(made)
    rows = np.flatnonzero(why[:, 1] == NO_NEW_CONVERSION)
    assert (why[:, [0, 2]] == 0).all()
    assert (np.diff(rows) == 1).all()
    assert rows[-1] == len(scans) - 1, "for good"
    assert np.isnan(found[rows, 1]).all()
    late_s = (rows[0] - begin) / HZ
    rate = 9 / 900 * np.exp(-300 / 900)  # degC/s of the box then
    assert MOVED_DEGC / rate * 0.9 < late_s < MOVED_DEGC / rate * 1.3
    for parts in (7, 400, len(scans)):
        again, again_why = marked(made, parts)
        assert (again_why == why).all(), "in parts as in one"
        np.testing.assert_array_equal(again, found)


def test_it_counts_again_once_its_codes_change():
    scans, degc, reason, cold = codes(1200, lambda t: 50 + 0.02 * t[:, None] + np.zeros(3), warming)
    held = slice(300 * HZ, 900 * HZ)
    for name in ("hot", "cold"):
        scans["channels"][name][held, 1] = scans["channels"][name][300 * HZ, 1]
    cold[held, 1] = cold[300 * HZ, 1]
    _, why = marked((scans, degc, reason, cold))
    assert why[:, 1].any()
    assert not why[held.stop :].any()


@pytest.mark.parametrize("per_degc", [16, 64, 256])
@pytest.mark.parametrize("share", [1.0, 0.15])
def test_a_steady_reading_in_a_box_that_warms_is_believed(per_degc, share):
    """Tank of forty litres at one temperature to the last code, its amplifier far from what warms the others: 0.15 of their rise, in a corner."""

    def cold(t):
        box = warming(t)
        box[:, 1] = 25 + share * (box[:, 1] - 25)
        return box

    _, why = marked(codes(3600, lambda t: np.full((len(t), 3), 31.0), cold, per_degc))
    assert not why.any()


def test_where_nothing_moves_nothing_is_concluded():
    """A simulated board without noise, or a car that stood overnight."""
    _, why = marked(codes(7200, lambda t: np.full((len(t), 3), 31.0), lambda t: np.full((len(t), 3), 25.0)))
    assert not why.any()


def test_one_amplifier_alone_or_one_neighbour_that_goes_astray_proves_nothing():
    _, why = marked(codes(3600, lambda t: np.full((len(t), 1), 31.0), lambda t: np.full((len(t), 1), 25.0)))
    assert not why.any()

    def astray(t):
        box = np.full((len(t), 3), 25.0)
        box[:, 0] += t / 60
        return box

    _, why = marked(codes(1200, lambda t: np.full((len(t), 3), 31.0), astray))
    assert not why.any()


def test_another_start_of_the_board_begins_anew():
    parts = [codes(60, lambda t: np.full((len(t), 3), 31.0), lambda t: np.full((len(t), 3), 25.0), boot=0)]
    second = codes(
        60, lambda t: np.full((len(t), 3), 31.0), lambda t: np.array([[28.0, 25.0, 28.0]]) + np.zeros((len(t), 3)), boot=1
    )
    made = tuple(np.concatenate(both) for both in zip(*parts, second, strict=True))
    _, why = marked(made)
    assert not why.any()
    assert LEAST_ROWS < 60 * HZ


@pytest.mark.parametrize(
    ("channels", "other", "found"), [(4, "dead", True), (4, "stopped", True), (3, "dead", True), (3, "stopped", False)]
)
def test_a_neighbour_that_is_dead_or_stopped_too_does_not_hide_it(channels, other, found):
    """Two that moved prove it, or the only one that answers; of three of which two stopped, the third may be the one that is wrong."""
    made = codes(1200, lambda t: 50 + 0.02 * t[:, None] + np.zeros(channels), lambda t: warming(t, channels))
    scans, degc, reason, cold = made
    begin = 300 * HZ
    for one in (1, 2) if other == "stopped" else (1,):
        for name in ("hot", "cold"):
            scans["channels"][name] = stuck(scans["channels"][name], begin, one)
        degc, cold = stuck(degc, begin, one), stuck(cold, begin, one)
    if other == "dead":
        cold[begin:, 2], degc[begin:, 2], reason[begin:, 2] = np.nan, np.nan, 1
        cold[: begin // 2, 2] = np.nan
    whole, why = marked((scans, degc, reason, cold))
    assert bool((why[:, 1] == NO_NEW_CONVERSION).any()) is found
    assert not why[:, [0, *range(3, channels)]].any()
    for parts in (7, 400):
        again, again_why = marked((scans, degc, reason, cold), parts)
        assert (again_why == why).all(), "in parts as in one"
        np.testing.assert_array_equal(again, whole)
