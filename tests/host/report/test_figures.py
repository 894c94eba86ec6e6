"""Thinning loses no peak and hides no gap; figures contain the data they were given."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from hotfuel.report import chart, figures
from hotfuel.report.chart import Range
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


def columns_of(axis, count):
    """The pixel column of each row: equal intervals of time from the record's first second on."""
    first_s = axis.seconds[0] + (axis.seconds[-1] - axis.seconds[0]) / count * np.arange(count)
    return np.array([np.flatnonzero(first_s <= second)[-1] for second in axis.seconds])


@given(VALUES, st.integers(3, 60), st.data())
def test_every_pixel_column_keeps_its_extremes(values, columns, data):
    holes = data.draw(st.lists(st.integers(0, len(values) - 2), max_size=4, unique=True))
    axis = axis_of(len(values), holes)
    at, thin, row = figures.thinned(axis, values, np.arange(len(values), dtype=float), columns=columns)
    assert np.all(np.diff(at) > 0)
    column = columns_of(axis, columns)
    real = np.isfinite(row)
    kept = np.zeros(len(values), dtype=bool)
    kept[row[real].astype(int)] = True
    for number in np.unique(column):
        block = values[column == number]
        if np.isfinite(block).any():
            assert np.nanmax(values[(column == number) & kept]) == np.nanmax(block)
            assert np.nanmin(values[(column == number) & kept]) == np.nanmin(block)
    # each kept sample is one of the record, at its own time
    np.testing.assert_array_equal(thin[real], values[row[real].astype(int)])
    np.testing.assert_allclose(at[real], axis.ms(axis.seconds[row[real].astype(int)]))


@given(VALUES, st.integers(3, 60), st.data())
def test_a_gap_breaks_the_line(values, columns, data):
    hole = data.draw(st.integers(0, len(values) - 2))
    axis = axis_of(len(values), [hole])
    at, thin = figures.thinned(axis, values, columns=columns)
    inside = (at > axis.ms(axis.seconds[hole])) & (at < axis.ms(axis.seconds[hole + 1]))
    assert inside.sum() == 1
    assert np.isnan(thin[inside]).all()


def drawn(svg):
    """The pieces of each line of a picture: [(k, 2) px, ...], read back from its text."""
    result = []
    for d in re.findall(r'<path d="([^"]*)" class="line"', svg):
        pieces = []
        for kind, x, y in re.findall(r"([Ml])(-?[\d.]+) (-?[\d.]+)", d):
            if kind == "M":
                pieces.append([(float(x), float(y))])
            else:
                pieces[-1].append((pieces[-1][-1][0] + float(x), pieces[-1][-1][1] + float(y)))
        result.append([np.array(piece) for piece in pieces])
    return result


def test_a_spike_of_one_tick_in_a_long_record_is_drawn():
    values = 50 + 0.05 * np.random.default_rng(0).standard_normal(1_400_000)
    values[1_000_003] = 93.0
    values[400_000:400_900] = np.nan  # shorter than a pixel column, and still a gap
    axis = axis_of(len(values))
    at, thin = figures.thinned(axis, values)
    assert len(at) == len(thin) <= 2 * chart.PLOT_PX + 6
    plot = figures.blank("place-1", axis, 100, figures.fit(thin, least_span=5), "temperature", "One place.")
    figures.lines(plot, [Line(at, thin, Style("#0b62a4", ()), "pump", "°C")])
    (pieces,) = drawn(plot.svg())
    assert len(pieces) == 2
    top = np.concatenate(pieces)
    x, y = top[top[:, 1].argmin()]
    np.testing.assert_allclose(y, plot.py(93.0), atol=0.06)
    np.testing.assert_allclose(x, plot.px(axis.ms(axis.seconds[1_000_003])), atol=0.06)
    assert len(plot.svg()) < 20_000


@given(arrays.arrays(float, st.integers(1, 60), elements=st.floats(0, 300) | st.just(float("nan"))))
def test_a_path_goes_through_every_point_and_over_no_gap(y):
    x = np.arange(len(y)) * 1.7
    pieces = drawn(f'<path d="{chart.path(x, y)}" class="line"')
    pieces = pieces[0] if pieces else []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], np.isfinite(y), [0]))))
    assert len(pieces) == len(edges) // 2
    for piece, start, end in zip(pieces, edges[::2], edges[1::2], strict=True):
        np.testing.assert_allclose(np.interp(x[start:end], piece[:, 0], piece[:, 1]), y[start:end], atol=0.051)


@pytest.mark.parametrize(
    ("low", "high", "first", "last", "decimals"),
    [(0, 100, 0, 100, 0), (-0.32, 0.41, -0.2, 0.4, 1), (97.3, 98.1, 97.4, 98.0, 1), (0, 6843, 0, 6000, 0)],
)
def test_number_ticks_are_round(low, high, first, last, decimals):
    values, shown = chart.number_ticks(low, high, 5)
    assert (pytest.approx(values[0]), pytest.approx(values[-1]), shown) == (first, last, decimals)
    assert 2 <= len(values) <= 6


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e5), st.integers(1, 9))
def test_number_ticks_stay_inside_and_are_few(low, span, most):
    values, _ = chart.number_ticks(low, low + span, most)
    assert len(values) <= most + 1
    assert all(low - 1e-6 * span <= value <= low + span * (1 + 1e-6) for value in values)


def test_time_ticks():
    day = 1_790_000_000 // 86400 * 86400
    assert [text for _, text in chart.time_ticks(1000 * (day + 82800), 1000 * (day + 90000), True)] == [
        "23:00", "23:30", "00:00", "00:30", "01:00"
    ]  # fmt: skip
    assert chart.time_ticks(1000 * (day - 43200), 1000 * (day + 50000), True)[2][1] == "21 Sep"
    assert [text for _, text in chart.time_ticks(0, 12_000, False)] == [
        "0:00:00",
        "0:00:02",
        "0:00:04",
        "0:00:06",
        "0:00:08",
        "0:00:10",
        "0:00:12",
    ]


@given(st.lists(st.floats(0, 300), min_size=1, max_size=8))
def test_labels_do_not_overlap(wanted):
    placed = figures.apart(wanted, 14)
    assert np.diff(np.sort(placed)).min(initial=14) >= 14 - 1e-9
    assert [placed[n] >= wanted[n] for n in range(len(wanted))] == [True] * len(wanted)


def luminance(colour):
    """Relative luminance by WCAG 2.1."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [*figures.COLOURS, figures.WARN, figures.ACT, figures.LOST])
def test_no_colour_looks_like_a_go_ahead(colour):
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    assert not (green > red and green > blue), colour


@pytest.mark.parametrize("colour", [*figures.COLOURS, figures.ACT])
def test_lines_contrast_with_the_paper(colour):
    """Contrast of at least 3 : 1 (WCAG 2.1, 1.4.11, graphical objects)."""
    assert 1.05 / (luminance(colour) + 0.05) >= 3, colour


def test_places_can_be_told_apart_without_colour():
    names = [f"place{number}" for number in range(7)] + ["place1_needle"]
    styles = figures.styles(names)
    assert len({style.dash for style in styles.values()}) == len(names)
    assert styles["place1_needle"].colour == styles["place1"].colour


def test_lines_hold_the_values_they_were_given():
    axis = axis_of(50)
    values = np.linspace(20, 30, 50)
    plot = figures.blank("one", axis, 100, Range(15, 35), "temperature", "One place.")
    at = axis.ms(axis.seconds)
    figures.lines(
        plot,
        [
            Line(at, values, Style("#0b62a4", (3, 3)), 'pump "2" <b>', "°C"),
            Line(at, values * np.nan, Style("#000000", ()), "x", "°C"),
        ],
    )
    svg = plot.svg()
    (pieces,) = drawn(svg)  # a line without values is not drawn
    np.testing.assert_allclose(np.interp(plot.px(at), pieces[0][:, 0], pieces[0][:, 1]), plot.py(values), atol=0.06)
    found = ElementTree.fromstring(svg)  # well formed, whatever the names are
    assert [path.get("data-name") for path in found.iter() if path.get("data-name")] == ['pump "2" <b>']
    assert found.get("aria-label") == "One place."


def test_alarm_bars_are_at_their_times():
    axis = axis_of(100)
    spans = [
        ("pump", "act", float(axis.seconds[10]), float(axis.seconds[50]), "pump: beyond"),
        ("elsewhere", "warn", 0.0, 1.0, ""),
    ]
    plot = figures.alarm_strip("alarms", axis, spans, [("pump", "pump")], "", "One warning.")
    (bar,) = [one for one in ElementTree.fromstring(plot.svg()).iter() if one.get("data-tip")]
    left, right = plot.px(axis.ms(axis.seconds[[10, 50]]))
    np.testing.assert_allclose([float(bar.get("x")), float(bar.get("width"))], [left, right - left], atol=0.06)


def test_altitude_figure_shows_every_fuel_and_marks_the_requested_point():
    heights = np.array([0.0, 1000.0, 2000.0])
    curves = {
        "altitude_m": heights,
        "pressure_kpa": heights,
        "A_limit_degc": np.array([60.0, 55, 50]),
        "A_onset_degc": np.array([54.0, 49, 44]),
    }
    plot = figures.altitude(curves, Shown("us"), 1600.0)
    svg = plot.svg()
    found = ElementTree.fromstring(svg)
    assert [path.get("data-name") for path in found.iter() if path.get("data-name")] == ["A", "A, boiling begins"]
    limit = drawn(svg)[0][0]
    np.testing.assert_allclose(limit[:, 1], plot.py([140, 131, 122]), atol=0.06)
    np.testing.assert_allclose(limit[:, 0], plot.px([0, 3280.84, 6561.68]), atol=0.06)
    assert "asked: 5249 ft" in svg
    assert 'data-tip="A: 126 °F at 5249 ft"' in svg
    assert "5249 ft: A 126 °F" in found.get("aria-label")
    assert "asked" not in figures.altitude(curves, Shown("us")).svg()
