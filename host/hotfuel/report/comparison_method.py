"""How a comparison was worked out, in sentences, and the caution of a test stand."""

from hotfuel.study.fixes import lapped
from hotfuel.study.fixes.difference import SLOPE

TEMPERATURE_METHOD = (
    "Runs are counted, not readings: each run gives one number per place and phase, because neighbouring readings are not independent. Where the runs "
    "of a side share days, and there are several such days, days are counted, because runs of one day share its weather.",
    f"Hottest and smallest margin are those of 10-second means. Temperatures are corrected to the same outside air by {SLOPE:g} of its difference.",
    f"Each lap gives its hottest and its smallest margin, and a run's are their means; laps more than {100 * (lapped.SLOW - 1):.0f} % slower than its median "
    "lap (into and out of the pit lane) do not count.",
    "The question follows from what was fitted and is fixed before any answer is seen; temperature is tested first, its margin only if temperature is "
    "decided. All pairs of variants share one error of 5 % (Bonferroni), which the intervals shown allow for. Other questions are tested only once that one "
    "is decided (Holm); a difference nobody asked for is reported only where its interval, corrected for all rows, lies beyond what is worth having.",
    "The interval is the 95 % interval of the difference; that of what was asked holds for all its pairs at once, that of what was not asked "
    "for its row alone: with so many rows, one that leaves out zero is no verdict.",
)
POWER_METHOD = (
    "Pulls are aligned on engine speed; pulls are counted, not points. The shaded band of the gain holds for the whole curve at once, 95 %.",
    "With six pulls or more in a balanced order, a straight drift over the order is removed; an order that lets drift look like a gain, or one that is "
    "not known, gives no verdict. Peaks are those of a running mean over 200 rpm of each pull, then averaged.",
    "From pull to pull the same engine differs by as much as cooler fuel can give: a verdict takes several pulls a side, driven in turn.",
)
DYNO_CAUTION = "On a test stand: guards in place, exhaust and vapour drawn off, someone at an extinguisher."
