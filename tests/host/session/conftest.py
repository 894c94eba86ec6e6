"""Sessions on disk for the tests of this room."""

import importlib.util
import os
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


@pytest.fixture(scope="session")
def sessions(tmp_path_factory, synthetic):
    """Six sessions of two cars on three days, each 2 degC hotter at the pump than the previous one."""
    root = tmp_path_factory.mktemp("recorded")
    paths = []
    for number in range(6):
        made = synthetic.Recording()
        for tick in range(150):
            if tick % 50 == 1:
                made.anchor(tick * 0.2, synthetic.START_WALL_S + tick * 0.2 + number // 2 * 86400 + number % 2 * 3600)
            made.reading(tick * 0.2, (30, 45 + 2 * number + tick / 500, 44))
        text = car.EXAMPLE.replace("Blue saloon, road and sprint", "Heron / 2 Litre") if number % 2 else car.EXAMPLE
        target = folder.create(
            root / f"run {number}", text, {"fix": "Heat_shield" if number >= 4 else "none", "utc_offset_min": 0}
        )
        target.log_path.write_bytes(made.data)
        paths.append(target.path)
    return paths


@pytest.fixture(scope="module")
def filled(tmp_path_factory, sessions):
    from hotfuel.session import archive

    root = tmp_path_factory.mktemp("archive")
    for path in sessions:
        archive.add(root, path)
    return root


@pytest.fixture
def one_process(monkeypatch):
    """Recomputed in this process: starting others takes most of such a test's time, and they have tests of their own."""
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
