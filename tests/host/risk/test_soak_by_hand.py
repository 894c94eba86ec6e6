"""The parts of the soak forecast against a textbook Kalman filter and by hand, and the constants for which the bands' coverage was measured."""

from dataclasses import replace

import numpy as np
import pytest
from hotfuel.live import outlook_words
from hotfuel.risk import soak
from hotfuel.risk.soak import AFTER_STOP, IDLING, Band, Chance, forecast_idle, forecast_soak, learned, widening_of

TIMES = np.arange(0, 360, 1.0)
DEGC = 60 - 20 * np.exp(-TIMES / 800)


def transition(cloud, at, step, degc, onset, prior):
    """(F, the surroundings' contribution, Q) of one particle for the ten seconds after `step`: T' = (E + d - T) / tau, slower above onset; d decays."""
    follows = (1 - np.exp(-10 / cloud.tau[at])) * (0.36 if degc > onset else 1.0)
    stays = np.exp(-10 / prior.disturbance_s)
    middle = 10 * step + 5
    around = cloud.air[at] + cloud.heat[at] * (1 - cloud.missing[at] * np.exp(-middle / prior.early_s)) * np.exp(
        -middle / cloud.cooling[at]
    )
    spread = prior.disturbance_share * cloud.heat[at]
    return (
        np.array([[1 - follows, follows], [0, stays]]),
        np.array([follows * around, 0]),
        np.diag([0, spread**2 * (1 - stays**2)]),
    )


@pytest.mark.parametrize("onset", [80.0, 45.0])
def test_the_filter_is_a_kalman_filter(onset):
    """Predict with F P F' + Q, correct with P H' / (H P H' + R), weight by the density of the innovation (any textbook on filtering)."""
    _, values = soak._steps(TIMES, DEGC)
    values[7:9] = np.nan
    prior = replace(AFTER_STOP, noise_degc=0.3)
    cloud = soak._filtered(values, 25.0, prior, onset)
    densities = []
    for at in (0, 5, 700, 2000):
        state = np.array([values[0], 0.0])
        spread = np.diag([0.3**2, (0.14 * cloud.heat[at]) ** 2])
        density = 0.0
        for step, value in enumerate(values[1:]):
            move, push, noise = transition(cloud, at, step, state[0], onset, prior)
            state, spread = move @ state + push, move @ spread @ move.T + noise
            if np.isnan(value):
                continue
            total = spread[0, 0] + 0.3**2
            density -= 0.5 * ((value - state[0]) ** 2 / total + np.log(total))
            gain = spread[:, 0] / total
            state, spread = state + gain * (value - state[0]), spread - np.outer(gain, spread[0])
        densities.append(density)
        np.testing.assert_allclose(cloud.mean[:, at], state, rtol=1e-6)
        np.testing.assert_allclose(cloud.covariance[:, at], [spread[0, 0], spread[0, 1], spread[1, 1]], rtol=1e-6, atol=1e-12)
    found = cloud.weights[[0, 5, 700, 2000]]
    np.testing.assert_allclose(found / found.max(), np.exp(np.array(densities) - max(densities)), rtol=1e-5, atol=1e-12)
    assert cloud.weights.sum() == pytest.approx(1.0)
    assert cloud.elapsed_s == 10 * (len(values) - 1)


def test_the_prior_before_a_stop():
    _, values = soak._steps(TIMES[:40], DEGC[:40])
    cloud = soak._filtered(values, np.nan, AFTER_STOP, 52.0)
    for drawn, median, spread in ((cloud.heat, 54.0, 0.35), (cloud.tau, 1000.0, 0.6), (cloud.cooling, 3000.0, 0.45)):
        assert np.median(drawn) == pytest.approx(median, rel=0.01)
        assert np.log(drawn).std() == pytest.approx(spread, rel=0.01)
    assert (cloud.air.mean(), cloud.air.std()) == pytest.approx((25.0, 8.0), rel=0.01)
    assert (cloud.missing.min(), cloud.missing.mean(), cloud.missing.max()) == pytest.approx((0.0, 0.45, 0.9), abs=0.005)
    assert len({len(values) for values in (cloud.air, cloud.heat, cloud.tau)}) == 1
    assert (soak._filtered(values, 31.0, AFTER_STOP, 52.0).air == 31.0).all()
    idle = soak._filtered(values, 25.0, IDLING, 52.0)
    for drawn, median, spread in ((idle.heat, 35.0, 0.5), (idle.tau, 420.0, 0.7), (idle.cooling, 1e6, 0.01)):
        assert (np.median(drawn), np.log(drawn).std()) == pytest.approx((median, spread), rel=0.01)


def one_particle(**more):
    """A cloud of two particles of which only the first has weight."""
    made = {
        "air": [20.0, 0.0], "heat": [50.0, 1.0], "tau": [900.0, 1.0], "cooling": [3000.0, 1.0], "missing": [0.5, 0.0], "weights": [1.0, 0.0],
        "mean": [[40.0, 0.0], [0.0, 0.0]], "covariance": [[0.0, 0.0]] * 3, "elapsed_s": 120.0,
    }  # fmt: skip
    return soak._Cloud(**{name: np.array(value) for name, value in {**made, **more}.items()})


@pytest.mark.parametrize("onset", [90.0, 41.0])
def test_paths_without_uncertainty_follow_the_surroundings(onset):
    cloud, calm = one_particle(), replace(AFTER_STOP, disturbance_share=0.0)
    paths = soak._drawn(cloud, calm, 30, onset)
    degc = 40.0
    for step in range(30):
        move, push, _ = transition(cloud, 0, 12 + step, degc, onset, calm)
        degc = move[0, 0] * degc + push[0]
        assert paths[:, step] == pytest.approx(np.full(600, degc))


def test_paths_scatter_as_the_model_does():
    """Variance of 600 paths against F P F' + Q, within 15 %: three standard errors of a variance are 17 %; the seed is fixed."""
    spread = np.array([[4.0, 3.0], [3.0, 9.0]])
    cloud = one_particle(covariance=[[4.0, 0], [3.0, 0], [9.0, 0]], mean=[[40.0, 0], [2.0, 0]])
    paths = soak._drawn(cloud, AFTER_STOP, 60, 500.0)
    state = np.array([40.0, 2.0])
    for step in range(60):
        move, push, noise = transition(cloud, 0, 12 + step, 40.0, 500.0, AFTER_STOP)
        state, spread = move @ state + push, move @ spread @ move.T + noise
        assert paths[:, step].var() == pytest.approx(spread[0, 0], rel=0.15)
        assert paths[:, step].mean() == pytest.approx(state[0], abs=4 * (spread[0, 0] / 600) ** 0.5)


def test_paths_are_drawn_by_weight():
    both = one_particle(weights=[0.25, 0.75], tau=[900.0, 900.0], heat=[50.0, 50.0], mean=[[40.0, 60.0], [0.0, 0.0]])
    first = soak._drawn(both, replace(AFTER_STOP, disturbance_share=0.0), 1, 90.0)[:, 0]
    assert np.count_nonzero(first < 50) == pytest.approx(150, abs=1)


def test_the_constants_for_which_the_bands_were_measured():
    """What these readings gave when tests/bench/bench_soak.py measured the bands' coverage: whoever changes a constant of the
    model must measure it again."""
    found = forecast_soak(TIMES, DEGC, 25.0, onset_degc=52.0, limit_degc=58.0)

    def ends(band):
        return [round(value, 2) for value in (band.least, band.middle, band.greatest)]

    assert ends(found.peak_degc) == [50.03, 53.95, 60.85]
    assert ends(found.peak_min) == [12.58, 28.92, 59.92]
    assert ends(found.onset_min) == [9.75, 11.75, 23.58]
    assert ends(found.below_onset_min) == [20.58, 55.25, 59.92]
    assert (found.onset, found.limit) == (Chance.LIKELY, Chance.NOT_EXPECTED)
    assert (len(found.time_s), found.time_s[0], found.time_s[-1], found.path_degc.shape) == (360, 5.0, 3595.0, (3, 360))
    assert ends(forecast_soak(TIMES, DEGC, onset_degc=48.0, limit_degc=50.0).peak_degc) == [48.87, 52.80, 60.09]
    idle = forecast_idle(TIMES, DEGC, onset_degc=52.0, limit_degc=58.0)
    assert ends(idle.temperature_degc) == [48.88, 53.10, 55.20]
    assert ends(idle.margin_degc) == [2.80, 4.90, 9.12]
    assert ends(idle.smallest_margin_degc) == [2.80, 4.90, 8.61]
    own = learned(AFTER_STOP, [(TIMES, DEGC, 25.0, 80.0)] * 3)
    assert (own.heat_degc, own.heat_spread, own.tau_s, own.tau_spread) == pytest.approx(
        (53.447, 0.2985, 1168.5, 0.52755), rel=1e-4
    )
    assert (own.cooling_s, own.cooling_spread, own.soaks) == pytest.approx((2971.5, 0.43343, 3), rel=1e-4)
    none = learned(AFTER_STOP, [])
    assert (none.heat_degc, none.tau_spread, none.cooling_s) == pytest.approx((54.0, 0.6, 3000.0))


def test_a_forecast_is_widened_about_its_middle():
    plain, wide = (forecast_soak(TIMES, DEGC, 25.0, onset_degc=52.0, limit_degc=58.0, widening=by).path_degc for by in (1.0, 2.0))
    np.testing.assert_allclose(wide[2] - wide[1], 2 * (plain[2] - plain[1]), atol=1e-9)
    np.testing.assert_allclose(wide[1], plain[1], atol=1e-9)
    near, far = (forecast_idle(TIMES, DEGC, onset_degc=52.0, limit_degc=58.0, widening=by).temperature_degc for by in (1.0, 2.0))
    assert far.greatest - far.middle == pytest.approx(2 * (near.greatest - near.middle))
    assert forecast_idle(TIMES, DEGC, onset_degc=52.0, limit_degc=58.0, ahead_s=60.0).ahead_min == 1.0


@pytest.mark.parametrize(("soaks", "model_only"), [(9, True), (10, False)])
def test_with_ten_real_soaks_it_is_no_longer_model_only(soaks, model_only):
    keys = {"onset_degc": 52.0, "limit_degc": 58.0}
    assert forecast_soak(TIMES, DEGC, 25.0, prior=replace(AFTER_STOP, soaks=soaks), **keys).model_only == model_only
    assert forecast_idle(TIMES, DEGC, 25.0, prior=replace(IDLING, soaks=soaks), **keys).model_only == model_only


def test_means_over_ten_seconds():
    times, means = soak._steps([20.0, 29.0, 31.0, np.nan, 55.0, 59.0, 42.0], [1.0, 3.0, 5.0, 9.0, 6.0, 8.0, np.nan])
    assert times.tolist() == [25.0, 35.0, 45.0, 55.0]
    assert means.tolist()[:2] == [2.0, 5.0]
    assert np.isnan(means[2])
    assert means[3] == 7.0
    assert len(soak._steps([0.0, 10.0, 3589.0], [1.0, 2, 3])[1]) == 359
    with pytest.raises(soak.InputError, match="more than 60 min"):
        soak._steps([0.0, 10.0, 3590.0], [1.0, 2, 3])
    with pytest.raises(soak.InputError, match="there are 2"):
        soak._steps([0.0, 10.0, 19.0], [1.0, 2, 3])


def test_when_paths_cross_a_level_and_are_below_it_again():
    times = np.array([60.0, 120, 180, 240])
    paths = np.array([[1.0, 5, 5, 1], [1, 1, 5, 5], [1, 1, 1, 4], [5, 1, 5, 1.0]])
    minutes, share = soak._first_above(paths, times, 4.0)
    assert (minutes.tolist(), share) == ([2.0, 3.0, 1.0], 0.75)
    assert soak._last_above(paths, times, 4.0).tolist() == [4.0, 4.0, 4.0]
    assert soak._last_above(paths[:, :3], times[:3], 4.5).tolist() == [3.0, 3.0, 3.0]
    assert soak._last_above(np.array([[5.0, 1, 1, 1]]), times, 4.0).tolist() == [2.0]
    assert soak._passed(np.arange(101.0), 0.5) == Band(2.5, 50.0, 97.5)
    assert np.isnan(soak._passed(np.arange(101.0), 0.49).middle)


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.9, "will very likely pass it"), (0.89, "will more likely pass it than not"), (0.5, "will more likely pass it than not"), (0.49, "may pass it"),
     (0.1, "may pass it"), (0.09, "not expected to pass it")],
)  # fmt: skip
def test_three_words_for_a_share(share, words):
    assert outlook_words._CHANCES[soak._chance(share)].format("it") == words


def test_widening_by_hand():
    """Misses of 0.1, 0.2 ... of the band's half width on that side; of n the ceil(0.95 (n + 1))-th, or the largest where there is
    none; never narrower."""
    above = [(Band(0.0, 10.0, 30.0), 10 + 2.0 * i) for i in range(1, 41)]  # half above 20: miss 0.1 i
    below = [(Band(0.0, 10.0, 30.0), 10 - 1.0 * i) for i in range(1, 41)]  # half below 10: the same
    for made in (above, below):
        assert widening_of(made[:9]) == 1.0
        assert widening_of(made[:10]) == 1.0
        assert widening_of(made[:18]) == pytest.approx(1.8)
        assert widening_of(made[:19]) == pytest.approx(1.9)
        assert widening_of(made[:20]) == pytest.approx(2.0)
        assert widening_of(made) == pytest.approx(3.9)
    missed = [(band, 10 + 3 * (came - 10)) for band, came in above]
    assert [widening_of(missed[:count]) for count in (9, 10, 40)] == pytest.approx([1.0, 3.0, 4.0])
    assert widening_of([(band, 10 + 0.1 * (came - 10)) for band, came in above[:19]]) == 0.5
    assert widening_of([(Band(10.0, 10.0, 10.0), 11.0)] * 19) == 4.0
