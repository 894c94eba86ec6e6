"""Negative numbers have one sign wherever a person reads them: terminal and pages a minus sign. JSON, and what somebody typed, stay as they are."""

import io
import sys

from hotfuel.cli import shared


def said(monkeypatch, encoding, *lines, as_json=False):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding, errors="replace"))
    monkeypatch.setattr(shared, "out", shared.Screen())
    shared.show({"sentence": lines[0]}, list(lines), as_json)
    sys.stdout.flush()
    return raw.getvalue().decode(encoding)


LINE = "smallest margin: pump -22.9 °F, the mixture shifted by -2.3 %, 2026-06-01"


def test_the_terminal_has_a_minus_sign(monkeypatch):
    assert "pump −22.9 °F, the mixture shifted by −2.3 %, 2026-06-01" in said(monkeypatch, "utf-8", LINE)


def test_a_terminal_without_one_keeps_the_hyphen(monkeypatch):
    assert "pump -22.9 °F" in said(monkeypatch, "cp1252", LINE)


def test_json_keeps_its_hyphen(monkeypatch):
    assert "pump -22.9 °F" in said(monkeypatch, "utf-8", LINE, as_json=True)


def test_what_is_typed_again_is_left_as_it_is(monkeypatch):
    typed = "hotfuel review ./-1 --about ambient_degc=-5 --out 'sunday-02-ice' \"-3 degC\" --hotter -5 --car 'day -5/car.toml'"
    assert typed in said(monkeypatch, "utf-8", typed)
