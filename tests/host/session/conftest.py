"""Sessions on disk for the tests of this room."""

import importlib.util
import sys
from pathlib import Path

import pytest
from hotfuel import car, session
from hotfuel.session import folder


def _synthetic():
    if "synthetic" not in sys.modules:
        spec = importlib.util.spec_from_file_location("synthetic", Path(__file__).with_name("synthetic.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules["synthetic"] = module
        spec.loader.exec_module(module)
    return sys.modules["synthetic"]


@pytest.fixture(scope="session")
def synthetic():
    """The module that writes recordings."""
    return _synthetic()


@pytest.fixture(scope="session")
def drive_log():
    return _synthetic().drive().data


@pytest.fixture(scope="session")
def drive_folder(tmp_path_factory, drive_log):
    """A finished session folder: car file, metadata, log. Tests only read it."""
    path = tmp_path_factory.mktemp("sessions") / "hill climb"
    made = folder.create(
        path, car.EXAMPLE, {"fix": "none", "ambient_degc": 24.0, "work_done": "nothing yet", "utc_offset_min": 120}
    )
    made.log_path.write_bytes(drive_log)
    return path


@pytest.fixture(scope="session")
def drive(drive_folder):
    """That session, open."""
    return session.open(drive_folder)
