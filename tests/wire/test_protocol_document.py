"""PROTOCOL.md and vectors.jsonl are what their scripts write, and every field has an explanation."""

import importlib.util
from pathlib import Path

import pytest
from hotfuel_wire import codec, meanings, messages

PROTOCOL = Path(__file__).parent.parent.parent / "protocol"


def script(name):
    spec = importlib.util.spec_from_file_location(name, PROTOCOL / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def fields():
    for layout in codec.LAYOUTS.values():
        for row in layout.fixed:
            yield f"header.{row[0]}" if row[0] in ("type", "tick", "time_ms") else f"{layout.name}.{row[0]}"
        if layout.group:
            yield from (f"{layout.name}.{layout.tail[0]}.{row[0]}" for row in layout.group)
        elif layout.tail:
            yield f"{layout.name}.{layout.tail[0]}"
        yield from (f"{layout.name}.{row[0]}" for row in layout.later)


def test_every_field_is_explained_and_no_explanation_is_left_over():
    assert set(fields()) == set(meanings.FIELDS)
    assert {layout.name for layout in codec.LAYOUTS.values()} | {"header"} == set(meanings.MESSAGES)


@pytest.mark.parametrize("title", ["EVENTS", "COMMANDS"])
def test_every_number_is_explained(title):
    assert list(getattr(meanings, title)) == list(getattr(messages, title))


def test_codes_and_status_bits_are_explained_in_the_document_only():
    assert list(meanings.CODES) == list(messages.CHIPS)
    text = (PROTOCOL / "PROTOCOL.md").read_text(encoding="utf-8")
    assert "messages." not in text.partition("<!-- tables: begin -->")[2]
    assert "status.py" not in text
    assert "| MAX31856 | 0x01 | open circuit | no |" in text


def test_the_document_is_fresh():
    writer = script("write_tables")
    assert writer.DOCUMENT.read_text(encoding="utf-8") == writer.document(), "run: python protocol/write_tables.py"


def test_the_vectors_are_fresh():
    lines = list(script("write_vectors").lines())
    assert (PROTOCOL / "vectors.jsonl").read_text(encoding="utf-8").splitlines() == lines, "run: python protocol/write_vectors.py"


@pytest.mark.parametrize("chip", ["MAX31856", "MAX31855", "MCP9601", "MCP9600"])
def test_every_chip_is_in_the_document(chip):
    assert chip in (PROTOCOL / "PROTOCOL.md").read_text(encoding="utf-8")
