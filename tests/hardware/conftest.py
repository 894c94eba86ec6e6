"""The modules of hardware/, loaded for these tests only and removed from sys.modules afterwards."""

import importlib
import sys
import types
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
NAMES = (
    "netlist",
    "models",
    "pulses",
    "spice",
    "stress",
    "thermal",
    "cases",
    "rules",
    "simulate",
    "pages",
    "supply",
    "pins",
    "box",
    "further",
    "pod",
    "wiring",
)


@pytest.fixture(scope="session")
def hardware():
    """All modules of hardware/ by name, and firmware/pins.py as `pins`."""
    folders = [str(ROOT / "hardware"), str(ROOT / "firmware")]
    before, path = set(sys.modules), sys.path[:]
    sys.path[:0] = folders
    try:
        found = {name: importlib.import_module(name) for name in NAMES}
    finally:
        sys.path[:] = path  # restored: the firmware's own tests in the same process have these folders on sys.path too
        for name in set(sys.modules) - before:
            if str(getattr(sys.modules[name], "__file__", "")).startswith(tuple(folders)):
                del sys.modules[name]
    return types.SimpleNamespace(**found)
