"""Sessions for sharing hold no name, plate or position, and the same numbers."""

import pytest
from hotfuel import car, session
from hotfuel.report.session_notes import all_notes
from hotfuel.session import export, folder, private

ABOUT = {
    "title": "Smith's wagon", "customer": "Jane Q. Smith", "shop": "Hill Street Garage", "technician": "Ole Berg", "venue": "Pass road north",
    "work_done": "Jane and Ole moved the hose at Hill Street Garage; call +1 555 010 4477 or write jane@example.org. Plate 7ABC123, 46.54321, 7.98765.",
    "note": "M-AB 1234 stood at 46°32'12\"N 7°59'E; fuel by ASTM D4814, 10 % ethanol, 2026-06-01, 3000 to 6000 rpm.", "fix": "shield",
}  # fmt: skip
PERSONAL = (
    "Jane", "Smith", "Berg", "Hill Street", "Pass road", "555", "example.org", "7ABC123", "46.54", "7.98", "M-AB 1234", "46°", "wagon",
)  # fmt: skip


@pytest.fixture
def shared(tmp_path, drive_log):
    made = folder.create(tmp_path / "smith-sunday", car.EXAMPLE.replace('name = "', "name = \"Smith's ", 1), ABOUT)
    made.log_path.write_bytes(drive_log)
    opened = session.open(made.path)
    degc = opened.temperatures()
    private.hide([opened])
    return opened, degc


def test_nothing_personal_is_left_and_the_numbers_are_the_same(shared, tmp_path):
    opened, degc = shared
    assert opened.temperatures().equals(degc)
    said = "\n".join(
        map(str, [opened.name, opened.car.name, *opened.metadata.values(), *all_notes(opened), *opened.marks()["text"]])
    )
    for word in PERSONAL:
        assert word.casefold() not in said.casefold(), word
    for kept in ("ASTM D4814, 10 % ethanol, 2026-06-01, 3000 to 6000 rpm", "moved the hose", "shield"):
        assert kept in said
    pytest.importorskip("pyarrow")
    export.write(opened, tmp_path / "s.parquet")
    data = (tmp_path / "s.parquet").read_bytes()
    for word in PERSONAL:
        assert word.encode() not in data or len(word) < 4, word


@pytest.mark.parametrize(
    "text",
    [
        "V8 with two DOT 4 hoses",
        "SAE J1349 at 98.0 kPa",
        "limit 150 degF, E10, RON 95",
        "between 12:04:30 and 12:10",
        "ice can, 8 lb of ice",
    ],
)
def test_plain_words_of_the_trade_stay(text):
    assert private.hider(["Al"])(text) == text


def test_cars_can_still_be_told_apart(tmp_path, drive_log):
    opened = []
    for name in ("Smith's wagon", "Old coupe"):
        made = folder.create(tmp_path / name, car.EXAMPLE.replace('name = "', f'name = "{name} ', 1), {})
        made.log_path.write_bytes(drive_log)
        opened.append(session.open(made.path))
    private.hide(opened)
    assert {one.car.name for one in opened} == {"car A", "car B"}


def test_possessives_and_plates_in_any_spelling_are_removed():
    take_out = private.hider(["Anna", "Green saloon AB-12-CD"])
    for text in ("Annas saloon", "Anna's saloon", "Anna’s saloon"):
        assert take_out(text) == f"{private.LEFT_OUT} saloon"
    for plate in ("ab 12 cd", "AB12CD", "ab-12-cd", "Ab 12-Cd"):
        assert take_out(f"hood of {plate} open") == f"hood of {private.LEFT_OUT} open"
    assert take_out("annals of the ab 12 cdx") == "annals of the ab 12 cdx"
