"""Runs of one evening that go on past midnight: the reason for no verdict agrees with the dates on the page, which are local."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from made_sessions import Made, noise, write

EVENING_S = 1_780_272_000 + 22 * 3600  # 1 June 2026, 22:00 local time
DRIVE = (("drive", 120), ("stop", 120))


def evening(folder, offset_h):
    """Eight runs from 22:00 to 01:30 local time, first all as built, then all with a shield."""
    sides = {"before": [], "shield": []}
    for number in range(8):
        random = np.random.default_rng(number + 1)
        name = "before" if number < 4 else "shield"
        made = Made(
            start_s=EVENING_S + 1800 * number - 3600 * (offset_h or 0),
            offset_degc=noise(random, 0.3, 0.3),
            drive=DRIVE,
            change_degc={"pump": -6.0} if name == "shield" else {},
            title=f"run {number}",
        )
        path = write(folder / f"run{number}", made, random, number + 1)
        stored = json.loads((path / "session.json").read_text(encoding="utf-8"))
        del stored["metadata"]["utc_offset_min"]
        if offset_h is not None:
            stored["metadata"]["utc_offset_min"] = int(60 * offset_h)
        (path / "session.json").write_text(json.dumps(stored), encoding="utf-8")
        sides[name].append(str(path))
    return [f"{name}={','.join(paths)}" for name, paths in sides.items()]


@pytest.mark.parametrize(
    ("offset_h", "zone"), [(-7, "by local time"), (2, "by local time"), (None, "by UTC, no local time being noted")]
)
def test_the_reason_agrees_with_the_dates_on_the_page(hotfuel, tmp_path, offset_h, zone):
    out = tmp_path / "shield.html"
    said = hotfuel("compare", *evening(tmp_path, offset_h), "--fix", "shield=shield before pump", "--out", out)
    assert "all runs with before came before all with shield in one go past midnight, and warming" in said
    assert "on one day" not in said
    assert f"run 4, run 5, run 6, run 7 began after midnight and before 4:00 ({zone}): counted to the day before" in said
    page = out.read_text(encoding="utf-8")
    assert "Driven from 1 June 2026 to 2 June 2026" in page
    assert "in one go past midnight" in page
    assert "on one day" not in page
