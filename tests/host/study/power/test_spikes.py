"""Rows that no engine drove, and peaks that a pull did not reach: neither makes a gain."""

import numpy as np
import pytest
from hotfuel.errors import InputError
from hotfuel.report import gain_words, power_words
from hotfuel.study.power import peaks, power, pulls
from hotfuel.study.power.spikes import LONGEST_ROWS, spikes
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

RPM = np.arange(3000.0, 6501.0, 50.0)


def _torque(rpm, top=5000.0, width=3000.0):
    return 500 * (0.4 + 0.6 * np.exp(-(((rpm - top) / width) ** 2)))


def _file(folder, number, torque, rpm=RPM):
    path = folder / f"run{number}.csv"
    rows = [f"{speed:.0f},{one:.3f}" for speed, one in zip(rpm, torque, strict=True)]
    path.write_text("\n".join(["rpm,torque (Nm)", *rows]) + "\n")
    return path


@given(
    at=st.integers(1, len(RPM) - 2 - LONGEST_ROWS),
    rows=st.integers(1, LONGEST_ROWS),
    times=st.floats(1.3, 50.0),
    noise=st.floats(0, 0.01),
    seed=st.integers(0, 2**32 - 1),
)
def test_rows_that_stand_alone_are_found_and_no_others(at, rows, times, noise, seed):
    clean = _torque(RPM) * (1 + noise * np.random.default_rng(seed).standard_normal(len(RPM)))
    assert not spikes(RPM, clean).any()
    wrong = clean.copy()
    wrong[at : at + rows] *= times
    assert set(np.flatnonzero(spikes(RPM, wrong))) == set(range(at, at + rows))


def test_one_silly_row_does_not_make_the_units_wrong(tmp_path):
    """Power of 999999 kW in one row was "+19193 % off torque": the user was sent to change units that are right."""
    torque = _torque(RPM)
    kw = torque * RPM * 2 * np.pi / 60_000
    torque[40], kw[40] = 9999.0, 999_999.0
    path = tmp_path / "both.csv"
    rows = [f"{speed:.0f},{one:.3f},{two:.3f}" for speed, one, two in zip(RPM, torque, kw, strict=True)]
    path.write_text("\n".join(["rpm,torque (Nm),power (kW)", *rows]) + "\n")
    (pull,) = pulls.read(path)
    assert [one.kind.name for one in pull.remarks] == ["LONE_READING"]
    assert np.nanmax(pull.power_kw) < 400
    path.write_text(path.read_text().replace("(kW)", "(hp)"))
    with pytest.raises(InputError, match="right units"):
        pulls.read(path)


@given(
    step=st.sampled_from([25.0, 50.0, 100.0, 250.0, 500.0]),
    top=st.floats(3500, 6000),
    width=st.floats(800, 4000),
    lift=st.floats(0.5, 1.0),
)
def test_a_narrow_band_a_lift_and_a_late_load_are_driven(step, top, width, lift):
    """A racing two-stroke's torque halves within 700 rpm of its top: width 800 is narrower."""
    rpm = np.arange(3000.0, 7001.0, step)
    driven = _torque(rpm, top, width)
    late = np.where(rpm < 3600, 0.3, 1.0) * driven
    lifted = np.where(rpm > 5500, lift, 1.0) * driven
    misfire = driven.copy()
    misfire[len(rpm) // 2] *= 0.4
    for one in (driven, late, lifted, misfire):
        assert not spikes(rpm, one).any()


def test_a_spike_makes_no_gain_and_is_named(tmp_path):
    rng = np.random.default_rng(3)
    files = []
    for number, factor in enumerate((1, 1.015, 1.015, 1, 1.015, 1), start=1):
        torque = factor * _torque(RPM) * (1 + 0.001 * rng.standard_normal(len(RPM)))
        if factor > 1:
            torque[39] = 1220.0
        files.append(_file(tmp_path, number, torque))
    every = [pulls.read(one)[0] for one in files]
    assert [any("left out at 4950 rpm" in power_words.remark(remark) for remark in one.remarks) for one in every] == [
        False,
        True,
        True,
        False,
        True,
        False,
    ]
    sides = {"before": [every[0], every[3], every[5]], "cooler": [every[1], every[2], every[4]]}
    result = power.compare_pulls(sides, order=[one.name for one in every])
    (gain,) = result.gains
    assert gain.low_percent < 1.5 < gain.high_percent and gain.high_percent - gain.low_percent < 1
    assert gain.peak_gain_nm[0] == pytest.approx(0.015 * 500, abs=2)


def test_peaks_of_pulls_that_were_ended_early_are_not_compared(tmp_path):
    rng = np.random.default_rng(4)
    every = []
    for number, short in enumerate((False, True, True, False, True, False), start=1):
        rpm = RPM[RPM <= 5300] if short else RPM
        every.append(
            pulls.read(_file(tmp_path, number, _torque(rpm, 4600) * (1 + 0.001 * rng.standard_normal(len(rpm))), rpm))[0]
        )
    sides = {"before": [every[0], every[3], every[5]], "cooler": [every[1], every[2], every[4]]}
    (gain,) = power.compare_pulls(sides, order=[one.name for one in every]).gains
    assert np.isnan(gain.peak_gain_kw).all(), "power still rises at 5300 rpm"
    assert abs(gain.peak_gain_nm[0]) < 2, "torque is highest at 4600 rpm, which all pulls pass"
    base, variant = power.compare_pulls(sides, order=[one.name for one in every]).said
    said = gain_words.peaks(base, variant, gain.peak_gain_kw, gain.peak_gain_nm, Shown("si"))
    assert "The peaks of power are not compared: pulls of cooler end or begin" in said and "peaks of torque" not in said
    assert "nan" not in said


def test_peaks_of_pulls_that_all_end_alike_are_compared(tmp_path):
    rpm = RPM[RPM <= 5300]
    every = [pulls.read(_file(tmp_path, n, _torque(rpm) * factor, rpm))[0] for n, factor in ((1, 1.0), (2, 1.02))]
    tops = [peaks.peak([one], "power_kw", [1.0]) for one in every]
    assert all(top.is_cut_off for top in tops) and peaks.are_comparable(*tops)


def test_a_spike_in_a_short_file_still_leaves_a_pull_or_says_why(tmp_path):
    rpm = np.arange(3000.0, 5001.0, 250.0)
    torque = _torque(rpm)
    torque[4] = 5000.0
    assert len(pulls.read(_file(tmp_path, 1, torque, rpm))[0].rpm) == 8
    with pytest.raises(InputError, match="at least 5"):
        pulls.read(_file(tmp_path, 2, _torque(rpm[:3]), rpm[:3]))
