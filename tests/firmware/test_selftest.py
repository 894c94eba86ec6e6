"""The self-test on the stand-in board, under the real MicroPython and under CPython."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


@pytest.fixture(scope="module", params=["micropython", "cpython"])
def found(request, tmp_path_factory):
    folder, program, root = tmp_path_factory.mktemp("board"), [sys.executable], ROOT
    if request.param == "micropython":
        root = request.getfixturevalue("shipped")
        program = [request.getfixturevalue("micropython").program, "-X", "heapsize=384K"]
    command = [*program, str(HERE / "board_selftest.py"), str(root), f"{folder}/"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-1500:]
    return json.loads(done.stderr)


def answer_fields(answer):
    return dict(line.partition("=")[::2] for line in answer.splitlines())


def test_a_chip_that_answers(found):
    for step in ("chip 0", "chip 1"):
        answer = answer_fields(found[step])
        assert (answer["name"], answer["answer"], answer["others_quiet"], answer["pulled_up"]) == ("MAX31856", "ok", "1", "0")
        assert int(answer["cold"]) == 25 * 256
        assert int(answer["status"]) == 0
    # 1 mV at gain 32: gain * 1.6 * 2^17 * V, datasheet of the MAX31856, calculated by hand
    assert int(answer_fields(found["chip 0"])["hot"]) == pytest.approx(6711, abs=3)


def test_a_chip_that_is_never_selected_is_distinguished_from_a_missing_one(found):
    assert answer_fields(found["never selected"]) == {
        "name": "MAX31856",
        "pulled_up": "1",
        "others_quiet": "1",
        "answer": "silent",
    }
    assert answer_fields(found["silent"]) == {"name": "MAX31856", "pulled_up": "0", "others_quiet": "1", "answer": "silent"}


def test_wrong_steps_and_a_running_engine_are_refused(found):
    assert found["chip 9"].startswith("bad_argument: chip 9")
    assert found["chip"].startswith("bad_argument")
    assert found["nonsense"].startswith("bad_argument: selftest nonsense")
    assert found["engine"].startswith("busy: the engine runs")


def test_store_is_written_and_read_back_and_nothing_is_left_behind(found):
    assert answer_fields(found["store"])["store"] == "ok"
    assert "selftest.tmp" not in found["folder"]


def test_readings_resume_and_the_module_is_unloaded(found):
    assert found["running again"] is True
    assert found["let go"] is True
    assert found["outcome"] == 0
    assert answer_fields(found["inputs"])["button"] == "0"
