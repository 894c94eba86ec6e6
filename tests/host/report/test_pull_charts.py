"""Charts of pulls against the numbers they are drawn from: the line of the mean, the band, one thin line per pull; each variant
in its own colour and dash."""

import re

import numpy as np
import pytest
from hotfuel.report import pull_figures, pull_table
from hotfuel.study.line.overlaid import Overlay, PlaceInPulls, VariantPulls
from hotfuel.units import Shown


def laid(drop, unit="session", pulls=3):
    time_s = np.arange(-5.0, 20.0)
    falls = drop * (1 + 0.1 * np.arange(pulls))[:, None] * np.clip(time_s / 10, 0, 1)
    traces = 60.0 - falls
    mean = traces.mean(axis=0)
    return Overlay("carb_inlet", tuple(f"pull {n}" for n in range(pulls)), time_s, traces, mean, mean - 1.0, mean + 1.0, unit)


def lines(svg):
    """Everything drawn as a line."""
    return re.findall(r'<path d="[^"]+"[^>]*class="line"', svg)


def test_one_sessions_pulls():
    chart = pull_figures.of_session(laid(10.0), Shown("us"))
    svg = str(chart.svg())
    assert svg.count('class="hair"') == 3
    assert svg.index('class="line"') < svg.index('class="hair"'), (
        "a pull is drawn over the mean, otherwise it is invisible where they coincide"
    )
    assert len(lines(svg)) == 1
    assert "from 140 °F to 120 °F at the lowest" in chart.alt
    assert chart.x.low == -5.0
    assert chart.y.low < 60 * 1.8 + 32 - 10 * 1.2 * 1.8 < chart.y.high
    assert "sessions" in pull_figures.caption([laid(10.0)])
    assert "band" not in pull_figures.caption([laid(10.0, pulls=1)])


def test_variants_over_each_other_and_their_table():
    places = {"tank": PlaceInPulls(35.0, 35.0, 0.0, np.nan, np.nan), "carb_inlet": PlaceInPulls(60.0, 48.0, 12.0, 2.5, 3.2)}
    variants = [
        VariantPulls(name, 3, 2, places, {"carb_inlet": laid(drop)}) for name, drop in (("as built", 12.0), ("shield", 6.0))
    ]
    assert pull_figures.place_of(variants) == "carb_inlet"
    assert pull_figures.place_of([]) == ""
    chart = pull_figures.of_variants(variants, "carb_inlet", Shown("si"))
    svg = str(chart.svg())
    colours = re.findall(r'class="line" stroke="(#\w+)"', svg)
    assert len(colours) == len(set(colours)) == 2
    assert [one["text"] for one in pull_figures.key(variants)] == ["as built", "shield"]
    table = pull_table.variants(variants, Shown("si"))
    assert table.rows[1][:6] == ("as built", "carb inlet", "60.0 °C", "48.0 °C", "12.0 °C ±2.5 °C", "+3.2 °C")
    assert table.rows[0][6] == "3 in 2"
    assert pull_table.variants([], Shown("si")) is None


@pytest.mark.parametrize("system", ["si", "us"])
def test_a_place_that_could_not_be_read_leaves_the_chart_whole(system):
    blank = laid(10.0)
    blank.traces[1, :] = np.nan
    assert "<svg" in str(pull_figures.of_session(blank, Shown(system)).svg())
