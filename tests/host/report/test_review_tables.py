"""What the tables of a review say of numbers that may be nothing."""

import re

import numpy as np
import pytest
from hotfuel.report import review_tables


@pytest.mark.parametrize(
    ("value", "u", "said"),
    [(30.0, 10.0, "30 s\n±10"), (5.0, 12.0, "at most 17 s"), (0.0, 0.0, "0 s"), (40.0, 0.0, "40 s"), (np.nan, np.nan, "–")],
)
def test_a_quantity_that_may_be_nothing_has_only_an_upper_end(value, u, said):
    assert review_tables._within(value, u, 0, "s") == said


def test_no_heat_of_a_hose_leaves_its_sign_open(drive_page):
    page = drive_page.replace("\u00a0", " ").replace("here\n(", "here (")
    cells = re.findall(r"<td[^>]*>([^<]* W\)?)</td>", page)
    assert cells
    for text in cells:
        assert not re.search(r"[-−]?\d+ W ±", text)
        assert re.fullmatch(r"(takes out )?\d[\d.]* to \d[\d.]* W|cannot be told here \(between .* W\)", text), text
