"""A session for the pages: the drive that the session room's tests use."""

import importlib.util
from pathlib import Path

import pytest
from hotfuel import car, session
from hotfuel.report import review
from hotfuel.session import folder
from hotfuel.study import story

ABOUT = {
    "title": "Pass road <b>& back</b>", "fix": "none", "ambient_degc": 24.0, "utc_offset_min": 120, "customer": 'A. "Driver" & Son',
    "shop": "Hill Street Garage", "work_done": "Hose moved off the manifold.", "complaint": "Dies at the lights when hot.",
}  # fmt: skip


@pytest.fixture(scope="session")
def synthetic():
    """The module that writes recordings."""
    path = Path(__file__).parent.parent / "session" / "synthetic.py"
    spec = importlib.util.spec_from_file_location("synthetic_recordings", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def drive_folder(tmp_path_factory, synthetic):
    made = folder.create(tmp_path_factory.mktemp("pages") / "drive", car.EXAMPLE, ABOUT)
    made.log_path.write_bytes(synthetic.drive().data)
    return made.path


@pytest.fixture(scope="session")
def drive(drive_folder):
    return session.open(drive_folder)


@pytest.fixture(scope="session")
def drive_told(drive):
    """Its story."""
    return story.tell(drive)


@pytest.fixture(scope="session")
def drive_report(drive):
    """Its review."""
    return review.make(drive)


@pytest.fixture(scope="session")
def drive_page(drive_report):
    """The page of it."""
    return drive_report.page
