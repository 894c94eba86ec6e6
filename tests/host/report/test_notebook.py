"""The notebook of an archive: what was fitted when, and each session's own number and picture."""

import re

import pytest
from hotfuel import car, session
from hotfuel.report import notebook, words
from hotfuel.session import folder
from hotfuel.units import Shown

FITTED = ("as built", "as built", "shield before pump", "Shield before pump", "as built")
US = Shown("us")


@pytest.fixture(scope="module")
def folders(tmp_path_factory, synthetic):
    data = synthetic.drive().data
    root = tmp_path_factory.mktemp("archive")
    for number, fix in enumerate(FITTED):
        made = folder.create(
            root / f"s{number}", car.EXAMPLE, {"fix": fix, "title": f"Run {number} <b>", "customer": "Jane Q. Smith"}
        )
        made.log_path.write_bytes(data)
    return root


def written(folders, path, **more):
    rows = [{"session": f"s{number}", "car": "Blue saloon"} for number in range(len(FITTED))]
    notebook.write(rows, lambda row: session.open(folders / row["session"]), path, lambda _: US, **more)
    return path.read_text(encoding="utf-8")


def test_each_session_has_its_number_and_picture_and_each_period_its_parts(folders, tmp_path):
    page = written(folders, tmp_path / "n.html")
    summary = session.open(folders / "s0").summary()
    near = summary.smallest
    number = words.rough(US, abs(near.smallest_margin_degc), near.uncertainty_degc)
    assert page.count(f">{number} {'left' if near.smallest_margin_degc > 0 else 'beyond'}</span>") == len(FITTED)
    assert page.count('class="chart narrow"') == len(FITTED)
    assert page.count("<article") == len(FITTED)
    table = page[page.index("<tbody>") : page.index("</tbody>")]
    rows = [re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", row) for row in re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL)]
    assert [(row[2], row[3]) for row in rows] == [("as built", "2"), ("shield before pump", "2"), ("as built", "1")]
    assert "Run 0 &lt;b&gt;" in page
    assert "href" not in page
    assert len(page) < 100_000


def test_a_session_links_to_its_own_report(folders, tmp_path):
    (folders / "s1" / "review.html").write_text("hotfuel", encoding="utf-8")
    assert 'href="s1/review.html"' in written(folders, folders / "notebook.html")


def test_a_notebook_for_sharing_names_nobody(folders, tmp_path):
    page = written(folders, tmp_path / "shared.html", without_names=True)
    for word in ("Blue saloon", "Smith", "Run 0", "href"):
        assert word not in page
    assert "car A" in page
