"""The registry of session data: allowed values are stored and read back, anything else is refused in one sentence."""

import json

import pytest
from hotfuel import text
from hotfuel.errors import InputError
from hotfuel.report import about
from hotfuel.session import metadata
from hotfuel.units import Shown
from hypothesis import given
from hypothesis import strategies as st

VALUES = st.fixed_dictionaries(
    {},
    optional={
        "title": st.text(max_size=80).map(text.shown).map(str.strip),
        "ambient_degc": st.floats(-60, 70),
        "humidity_percent": st.floats(0, 100),
        "simulated": st.booleans(),
        "period_ms": st.integers(1, 65535),
        "utc_offset_min": st.integers(-900, 900),
        "started": st.datetimes(timezones=st.just(__import__("datetime").UTC)).map(
            lambda moment: moment.isoformat(timespec="milliseconds")
        ),
        "fuel_bought_on": st.dates().map(str),
    },
)


@given(VALUES)
def test_what_is_written_is_read(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("metadata") / "session.json"
    metadata.write(path, values)
    assert metadata.read(path) == (values, [])
    assert len(about.rows(values, Shown("us"))) == sum(value != "" for value in values.values())


WRONG = [
    ("ambient_degc", 80, "from -60 to 70"),
    ("ambient_degc", float("nan"), "from -60 to 70"),
    ("ambient_degc", "24", "from -60 to 70"),
    ("ambient_degc", True, "from -60 to 70"),
    ("period_ms", 2.5, "whole number"),
    ("simulated", 1, "true and false"),
    ("started", "2026-06-01T14:03:00", "offset from UTC"),
    ("started", "yesterday", "date and time"),
    ("fuel_bought_on", "1 June", "2026-06-01"),
    ("title", "x" * 3000, "at most 2000 characters"),
    ("title", 5, "text"),
]


@pytest.mark.parametrize(("key", "value", "allowed"), WRONG)
def test_a_wrong_value_is_refused_and_nothing_is_written(tmp_path, key, value, allowed):
    path = tmp_path / "session.json"
    metadata.write(path, {"title": "before"})
    with pytest.raises(InputError, match=allowed) as caught:
        metadata.write(path, {key: value})
    assert key in str(caught.value)
    assert metadata.read(path) == ({"title": "before"}, [])


def test_every_mistake_is_named():
    with pytest.raises(InputError) as caught:
        metadata.checked({"ambient_degc": 99, "colour": "red"})
    assert len(str(caught.value).splitlines()) == 2
    assert '"colour" is not a known key' in str(caught.value)


def test_a_newer_versions_keys_are_kept_and_a_wrong_value_is_reported(tmp_path):
    path = tmp_path / "session.json"
    path.write_text(json.dumps({"format": 9, "metadata": {"moon": "full", "ambient_degc": 999, "title": "ok then"}}))
    values, notes = metadata.read(path)
    assert values == {"moon": "full", "title": "ok then"}
    assert len(notes) == 1
    assert "ambient_degc" in notes[0]
    assert ("moon", "full") in about.rows(values, Shown())


@given(st.binary(max_size=200))
def test_a_damaged_file_is_reported_and_never_raises(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("metadata") / "session.json"
    path.write_bytes(data)
    values, notes = metadata.read(path)
    assert values == {}
    assert len(notes) == 1


def test_shown_in_the_readers_units():
    rows = dict(about.rows({"ambient_degc": 24.0, "started": "2026-06-01T12:03:00.000+00:00"}, Shown("us")))
    assert rows == {"Outside air": "75.2 °F", "Started": "2026-06-01 12:03:00 UTC"}


@pytest.mark.parametrize("title", ["a\x1b[2Jb", "gone\u202egpj", "caf\udce9", "\ud800", "a\x00b"])
def test_unreadable_text_is_refused_in_one_sentence_and_left_out_on_reading(tmp_path, title):
    path = tmp_path / "session.json"
    with pytest.raises(InputError, match="title is .*cannot be read") as told:
        metadata.write(path, {"title": title})
    str(told.value).encode("utf-8")
    assert text.shown(str(told.value)) == str(told.value)
    assert not path.exists()
    path.write_text(json.dumps({"format": 1, "metadata": {"title": title, title: title, "fix": "none"}}))
    values, notes = metadata.read(path)
    assert values["fix"] == "none"
    assert "title" not in values
    for shown in (*notes, *values, *values.values()):
        assert text.shown(shown) == shown


def test_a_known_key_with_other_spaces_does_not_bypass_its_check(tmp_path):
    path = tmp_path / "session.json"
    path.write_text(json.dumps({"metadata": {"period_ms": 100, " period_ms": 0, "title ": [1]}}))
    values, notes = metadata.read(path)
    assert values == {"period_ms": 100}
    assert len(notes) == 2
