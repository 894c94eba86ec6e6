"""Sessions with one title are told apart in a comparison's lists: by their start, in local time, and by their folder where that is the same."""

import json
import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from made_sessions import DAY_S, MONDAY_S, Made, noise, write


def run(folder, number, title, *, start_s, letter="a", parked=False):
    random = np.random.default_rng(number)
    made = Made(
        start_s=start_s,
        offset_degc=noise(random, 0.4, 0.4),
        drive=(("idle", 240),) if parked else (("drive", 120), ("stop", 120)),
        change_degc={"pump": -6.0} if letter == "b" else {},
        title=title,
    )
    path = write(folder, made, random, number)
    stored = json.loads((path / "session.json").read_text(encoding="utf-8"))
    stored["metadata"]["utc_offset_min"] = -420
    (path / "session.json").write_text(json.dumps(stored), encoding="utf-8")
    return path


def rows(page):
    """The runs' names in the table of runs."""
    return re.findall(r"<tr><t[dh][^>]*>(?:a|b)</t[dh]><td>([^<]*)</td>", page)


def test_by_their_start_and_only_where_a_title_is_not_alone(hotfuel, tmp_path):
    made = [run(tmp_path / f"day{n}", n, "Tuesday", start_s=MONDAY_S + DAY_S * n, letter="abba"[n - 1]) for n in (1, 2, 3, 4)]
    made.append(run(tmp_path / "day5", 5, "Friday", start_s=MONDAY_S + DAY_S * 5, parked=True))
    out = tmp_path / "page.html"
    said = hotfuel("compare", f"a={made[0]},{made[3]},{made[4]}", f"b={made[1]},{made[2]}", "--out", out)
    assert "Friday was never driven" in said
    page = out.read_text(encoding="utf-8")
    assert rows(page) == [
        "Tuesday (2 June 2026, 02:00)",
        "Tuesday (5 June 2026, 02:00)",
        "Friday",
        "Tuesday (3 June 2026, 02:00)",
        "Tuesday (4 June 2026, 02:00)",
    ]


def test_by_their_folder_where_the_start_is_the_same_or_unknown(hotfuel, tmp_path):
    made = [run(tmp_path / f"day{n}", n, "Tuesday", start_s=MONDAY_S, letter="ab"[n % 2]) for n in (1, 2)]
    made += [run(tmp_path / "more" / "day1", 3, "Tuesday", start_s=MONDAY_S + DAY_S)]
    out = tmp_path / "page.html"
    hotfuel("compare", f"b={made[0]}", f"a={made[1]},{made[2]}", "--out", out)
    names = rows(out.read_text(encoding="utf-8"))
    assert sorted(names) == sorted(
        [f"Tuesday (1 June 2026, 02:00, {path})" for path in (made[0] / "wire.log", "day2")] + ["Tuesday (2 June 2026, 02:00)"]
    )
    hotfuel("compare", f"b={made[0]}", f"a={made[1]}", "--out", out, "--without-names")
    page = out.read_text(encoding="utf-8")
    assert len(set(rows(page))) == 2
    assert "day1" not in page
    assert "day2" not in page
