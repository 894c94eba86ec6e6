"""session/synthetic.py, which makes known recordings, and serving.py on the path, and a session folder to follow."""

import sys
from pathlib import Path

import pytest
from hotfuel import car as car_file
from hotfuel.session import folder

for _folder in (Path(__file__).parent.parent / "session", Path(__file__).parent):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))


@pytest.fixture
def session(tmp_path):
    """session(data, car text=EXAMPLE) -> path of a session folder holding that log."""
    made = []

    def make(data=b"", car_text=car_file.EXAMPLE):
        path = folder.create(tmp_path / f"drive{len(made)}", car_text).path
        (path / "wire.log").write_bytes(data)
        made.append(path)
        return path

    return make
