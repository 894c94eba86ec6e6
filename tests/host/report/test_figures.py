"""Thinning loses no peak and hides no gap; figures hold what they were given."""

import numpy as np
import pytest
from hotfuel.report import figures
from hotfuel.report.figures import Axis, Line, Style
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

VALUES = arrays.arrays(float, st.integers(2, 400), elements=st.floats(-50, 150) | st.just(float("nan")))


def axis_of(count, holes=(), step_s=0.2):
    steps = np.full(count - 1, step_s)
    steps[list(holes)] = 30.0
    return Axis(1.7e9 + np.concatenate(([0.0], np.cumsum(steps))), 7200.0, True, 1.0, "local time")


@given(VALUES, st.integers(3, 60), st.data())
def test_every_stretch_keeps_its_extremes(values, bins, data):
    holes = data.draw(st.lists(st.integers(0, len(values) - 2), max_size=4, unique=True))
    axis = axis_of(len(values), holes)
    at, thin, row = figures.thinned(axis, values, np.arange(len(values), dtype=float), bins=bins)
    assert np.all(np.diff(at) > 0)
    size = max(1, -(-len(values) // bins))
    for start in range(0, len(values), size):
        block = values[start : start + size]
        kept = thin[(row >= start) & (row < start + size)]
        if np.isfinite(block).any():
            assert np.nanmax(kept) == np.nanmax(block)
            assert np.nanmin(kept) == np.nanmin(block)
    # each kept sample is one of the record, at its own time
    real = np.isfinite(row)
    np.testing.assert_array_equal(thin[real], values[row[real].astype(int)])
    np.testing.assert_allclose(at[real], axis.ms(axis.seconds[row[real].astype(int)]))


@given(VALUES, st.integers(3, 60), st.data())
def test_a_gap_breaks_the_line(values, bins, data):
    hole = data.draw(st.integers(0, len(values) - 2))
    axis = axis_of(len(values), [hole])
    at, thin = figures.thinned(axis, values, bins=bins)
    inside = (at > axis.ms(axis.seconds[hole])) & (at < axis.ms(axis.seconds[hole + 1]))
    assert inside.sum() == 1
    assert np.isnan(thin[inside]).all()


def test_a_long_record_is_thinned():
    values = np.random.default_rng(0).standard_normal(1_000_000)
    at, thin = figures.thinned(axis_of(len(values)), values)
    assert len(at) == len(thin) <= 2 * figures.BINS + 2
    assert thin.max() == values.max()


def luminance(colour):
    """Relative luminance after WCAG 2.1."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [*figures.COLOURS, figures.WARN, figures.ACT, figures.LOST])
def test_no_colour_reads_as_a_go_ahead(colour):
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    assert not (green > red and green > blue), colour


@pytest.mark.parametrize("colour", [*figures.COLOURS, figures.ACT])
def test_lines_stand_out_from_the_paper(colour):
    """Contrast of at least 3 : 1 (WCAG 2.1, 1.4.11, graphical objects)."""
    assert 1.05 / (luminance(colour) + 0.05) >= 3, colour


def test_places_differ_without_colour():
    names = [f"place{number}" for number in range(7)] + ["place1_needle"]
    styles = figures.styles(names)
    assert len({style.dash for style in styles.values()}) == len(names)
    assert styles["place1_needle"].colour == styles["place1"].colour


def test_lines_carry_what_they_were_given():
    axis = axis_of(50)
    plot = figures.blank(axis, 100, "temperature")
    values = np.linspace(20, 30, 50)
    at = axis.ms(axis.seconds)
    figures.lines(
        plot, [Line(at, values, Style("#0b62a4", (3, 3)), "pump"), Line(at, values * np.nan, Style("#000000", ()), "x")]
    )
    source = plot.renderers[0].data_source.data
    assert source["name"] == ["pump"]  # a line of nothing is not drawn
    np.testing.assert_allclose(source["y"][0], values, rtol=1e-6)


def test_alarm_bars_stand_at_their_times():
    axis = axis_of(100)
    spans = [("pump", "act", float(axis.seconds[10]), float(axis.seconds[50])), ("elsewhere", "warn", 0.0, 1.0)]
    plot = figures.alarm_strip(axis, spans, [("pump", "pump")])
    data = plot.renderers[0].data_source.data
    np.testing.assert_allclose([data["left"][0], data["right"][0]], axis.ms(axis.seconds[[10, 50]]))
    assert len(plot.renderers) == 1


def test_altitude_figure_shows_every_fuel():
    heights = np.array([0.0, 1000.0, 2000.0])
    curves = {
        "altitude_m": heights,
        "pressure_kpa": heights,
        "A_limit_degc": np.array([60.0, 55, 50]),
        "A_onset_degc": np.array([54.0, 49, 44]),
    }
    plot = figures.altitude(curves, Shown("us"))
    source = next(r.data_source.data for r in plot.renderers)
    assert source["name"] == ["A", "A, boiling begins"]
    np.testing.assert_allclose(source["y"][0], [140, 131, 122])
    np.testing.assert_allclose(source["x"][0], [0, 3280.84, 6561.68], atol=0.01)
