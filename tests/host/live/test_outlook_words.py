"""Forecasts of a hot stop in words: how hot, whether and when it boils, and from when a restart is likely."""

import math
import time

import numpy as np
import pytest
from hotfuel.live import outlook_words, plain
from hotfuel.live.forecasts import Outlook
from hotfuel.risk.soak import Band, Chance, SoakForecast
from hotfuel.units import Shown
from test_wording import place, situation

NEVER = Band(math.nan, math.nan, math.nan)


@pytest.mark.parametrize(
    ("onset", "onset_min", "limit", "limit_min", "said"),
    [
        (Chance.NOT_EXPECTED, NEVER, Chance.NOT_EXPECTED, NEVER, "not expected to pass boiling onset"),
        (Chance.POSSIBLE, NEVER, Chance.NOT_EXPECTED, NEVER, "may pass boiling onset; not expected to pass the limit"),
        (Chance.VERY_LIKELY, Band(9.0, 12.0, 18.0), Chance.LIKELY, Band(14.0, 20.0, 30.0),
         "will very likely pass boiling onset, in about 4 min (1 to 10); will more likely pass the limit than not, in about 12 min (6 to 22)"),
        (Chance.VERY_LIKELY, Band(6.0, 8.0, 9.0), Chance.POSSIBLE, NEVER, "boiling onset about now or passed; may pass the limit"),
    ],
)  # fmt: skip
def test_a_hot_stop_says_when_boiling_and_the_limit_are_to_be_expected(onset, onset_min, limit, limit_min, said):
    more = {"model_only": True, "time_s": np.zeros(1), "path_degc": np.zeros((3, 1)), "below_onset_min": NEVER}
    hot = {"peak_degc": Band(54.0, 60.0, 66.0), "peak_min": Band(10.0, 20.0, 30.0)}
    forecast = SoakForecast(onset_min=onset_min, limit_min=limit_min, onset=onset, limit=limit, **hot, **more)
    (row,) = outlook_words.forecasts(situation(place(), outlooks=(Outlook("pump", 8.0, soak=forecast),)), Shown("si"))["rows"]
    assert row["text"] == f"highest 60 (54 to 66) °C, in about 12 min (2 to 22); {said}"


def test_after_a_stop_there_is_a_countdown_to_a_restart():
    def waits(*minutes):
        return type("Soak", (), {"below_onset_min": Band(*minutes), "model_only": True})()

    def words(*outlooks, at=700.0, offset_s=1_780_000_000.0):
        now = situation(place(), outlooks=outlooks, at=at, stopped_at=100.0, wall_offset_s=offset_s)
        return outlook_words.restart(now, plain.Clock(now.wall_offset_s, now.at))

    first, second = (
        Outlook(name, 8.0, soak=waits(*band)) for name, band in (("pump", (6.0, 9.0, 12.0)), ("carb_inlet", (12.0, 24.0, 42.0)))
    )
    least, middle, greatest = (time.strftime("%H:%M", time.localtime(1_780_000_100 + 60 * minutes)) for minutes in (12, 24, 42))
    assert words(first, second) == f"restart likely possible from about {middle} ({least} to {greatest}), in 14 min"
    assert words(first, second, offset_s=math.nan) == "restart likely possible in about 14 min (2 to 32)"
    assert words(Outlook("pump", 8.0, soak=waits(12.0, 24.0, 58.0))).endswith(f"({least} or later), in 14 min")
    assert words(first, at=100.0 + 13 * 60) == ""  # all of it is over
    assert words(Outlook("pump", 8.0, soak=waits(math.nan, math.nan, math.nan))) == ""
    assert words() == ""
