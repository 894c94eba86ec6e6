"""`hotfuel record`: record a drive and warn while it lasts."""

import contextlib
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from hotfuel.cli.shared import CAUTION, About, Json, Units, about, note, show, the_port
from hotfuel.cli.shared_plan import Plan, about_run, load_plan, next_number, told
from hotfuel.cli.shared_record import record_from
from hotfuel.errors import InputError, UsageError
from hotfuel.text import file_name, one_line, typed
from hotfuel.units import Shown


def record(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="Folder of the session to make; a recording that was cut off is continued, beside a finished one a new one is made.",
        ),
    ] = None,
    plan: Plan = None,
    port: Annotated[
        str | None, typer.Option("--port", help="Serial port or URL. Default: the one board that answers on USB.")
    ] = None,
    receiver: Annotated[
        str | None,
        typer.Option(
            "--receiver", help="Serial port or URL of a satellite receiver (NMEA 0183) beside the board: laps come from it."
        ),
    ] = None,
    receiver_baud: Annotated[int, typer.Option("--receiver-baud", help="Its speed, if not 9600.", min=300)] = 9600,
    car: Annotated[Path | None, typer.Option("--car", help="Car file: with it there are limits and warnings.")] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds.", min=0.1)] = None,
    page: Annotated[bool, typer.Option("--page", help="Show it on a page, and open it in the browser if there is one.")] = False,
    terminal: Annotated[bool, typer.Option("--terminal", help="Show it in this terminal.")] = False,
    fallback: Annotated[
        Path | None,
        typer.Option(
            "--fallback",
            envvar="HOTFUEL_FALLBACK",
            help="Folder to continue in if the session's own goes away or its disk is full. Default: hotfuel-fallback in your home folder.",
        ),
    ] = None,
    address: Annotated[
        str, typer.Option("--address", help="Where the page listens; 0.0.0.0 opens it to phones in this network, with a token.")
    ] = "127.0.0.1",
    certificate: Annotated[Path | None, typer.Option("--certificate", help="PEM file: serve the page over HTTPS.")] = None,
    key: Annotated[
        Path | None, typer.Option("--key", help="PEM file with the certificate's key, if it is not in the same.")
    ] = None,
    bell: Annotated[bool, typer.Option("--bell", help="Ring the terminal's bell while an alarm sounds.")] = False,
    facts: About = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Record a drive and warn while it lasts. Example: hotfuel record --port /dev/ttyACM0 --car car.toml --out sunday"""
    from hotfuel import car as car_file
    from hotfuel.link.receive import Link
    from hotfuel.link.sentences import Receiver
    from hotfuel.log import spill
    from hotfuel.record import resume, room
    from hotfuel.session import folder as session_folder

    if fallback is not None:
        os.environ[spill.FALLBACK_VARIABLE] = str(fallback.absolute())  # the page's process reads it too
        spill.remember(fallback)
    described = car_file.load(car) if car else None
    text = car.read_text(encoding="utf-8") if car else None
    shown = Shown(units or (described.units if described else "si"))
    day = load_plan(plan) if plan else None
    number = next_number(day) if day else 0
    out = out or (day.run_path(number) if day else None)
    if out is None:
        raise UsageError("choose where the recording goes: --out FOLDER, or --plan FILE for the next run of a test day")
    planned = about_run(day, number, shown) if day else {}
    link = Link(the_port(port))
    beside = Receiver(receiver, receiver_baud) if receiver else None
    values = {"port": link.url, **planned, **about(facts)}
    with link:
        asked: list[resume.Board] = []

        def board() -> resume.Board:
            asked.append(resume.ask(link))
            return asked[0]

        place = resume.place(out, described, board)
        if place.sentence:
            note(place.sentence)
        if day is not None:
            # brings all that draws pages: without a test day the recording begins a second sooner
            from hotfuel.report import run_words

            was = "was cut off" if number == day.interrupted() else "held no answer" if number == day.to_drive_again() else ""
            note(_run_words(planned["title"], planned.get("start_when", ""), was, place.earlier is not None))
            if must := run_words.must_hold(day):
                note(must)
        if place.earlier is None:
            session_folder.create(place.folder, text, values)
        elif facts:
            session_folder.update(session_folder.find(place.folder), about(facts))
        left = room.words(room.hours(place.folder))
        note(
            f"listening on {link.url}; {f'{left} of eight channels at 10 Hz; ' if left else ''}if {place.folder} goes away or its disk is full, "
            f"recording continues in {spill.fallback_folder()}"
        )
        shared = [
            part for name, value in (("--certificate", certificate), ("--key", key)) if value for part in (name, str(value))
        ]
        wanted = [["--page", "--browse", "--address", address, *shared]] if page else []
        wanted += [["--terminal", *["--bell"] * bell]] if terminal else []
        views = _Views(place.folder, wanted, shown.system)
        try:
            result = record_from(
                link, place.folder, described, shown, seconds=seconds, quiet=terminal, earlier=place.earlier,
                received=asked[0].received if asked else b"", fallback=_elsewhere(place.folder, text, values), moved=views.show, receiver=beside,
                begun=lambda folder: note(f"recording to {folder}; end it with Ctrl-C. {CAUTION}"),
            )  # fmt: skip
        finally:
            views.end()
            if beside is not None:
                beside.close()
    following = told(load_plan(plan), shown) if plan else None
    _tell(result, link.url, as_json, following)


def _run_words(run: str, when: str, was: str, goes_on: bool) -> str:
    """Which run of the test day this recording is."""
    if goes_on:
        return f"{run} goes on. If it was over when it was cut off, end it now with Ctrl-C: it counts as it is, and the next is recorded by the same command."
    return f"{run}{f'; start when {when}' if when else ''}{f'. It {was} and is driven again.' if was else ''}"


def _tell(result: dict[str, Any], url: str, as_json: bool, following: tuple[dict[str, Any], list[str]] | None) -> None:
    """Print what was recorded and what to type next; on a test day the next run and, after a complete block, the verdict so far."""
    counted = {name: f"{result[name + 's']} {name}{'' if result[name + 's'] == 1 else 's'}" for name in ("frame", "gap", "mark")}
    folder = result.pop("folder")
    lines = [f"{counted['frame']}, {counted['gap']} ({result['gap_s']:.1f} s), {counted['mark']} in {folder}"]
    if result["on_disk"]:
        lines.append(f"look at it with: hotfuel review {typed(folder)}")
        if result["sentences"]:
            lines.append(
                f"{result['sentences']} sentence{'' if result['sentences'] == 1 else 's'} of the receiver; its laps: hotfuel laps {typed(folder)}"
            )
    else:
        lines.append(f"{folder} has gone; what is kept of this drive is listed by: hotfuel rescue")
    lines += following[1] if following else []
    show({"session": folder, **result, **({"plan": following[0]} if following else {})}, lines, as_json)
    if result["frames"] == 0:
        raise InputError(f"not one frame arrived on {url}; the session is empty, is this the right port?")


def _elsewhere(folder: Path, car_text: str | None, values: dict[str, Any]) -> Callable[[], Path]:
    """Makes a session in the fallback folder for a recording whose own folder has gone; gives its log's path."""
    from hotfuel.log import spill
    from hotfuel.session import folder as session_folder

    def make() -> Path:
        gone = Path(os.path.abspath(folder))  # a name like ".." would be another folder
        name = file_name(gone.name)
        base = spill.fallback_folder()
        target = next(
            path for number in itertools.count(1) if not (path := base / (name if number == 1 else f"{name}-{number}")).exists()
        )
        told = {key: one_line(value) if isinstance(value, str) else value for key, value in values.items()}
        said = f"{told['note']}. " if told.get("note") else ""
        least = {
            "title": told.get("title") or one_line(gone.name) or name,
            "note": f"{said}Begun in {one_line(str(gone))}, which went away.",
        }
        try:
            return session_folder.create(target, car_text, {**told, **least}).log_path
        except InputError:  # metadata that cannot be kept must not leave the drive without a folder
            target.mkdir(parents=True, exist_ok=True)
            return target / session_folder.LOG

    return make


class _Views:
    """Page and terminal, each a follower in its own process. If one is killed or hangs, the recording is not affected; they end with it."""

    def __init__(self, folder: Path, wanted: list[list[str]], units: str) -> None:
        self._wanted = wanted
        self._numbers = itertools.count()
        self._units = units
        self._running: list[tuple[subprocess.Popen[bytes], Path]] = []
        self._tokens = Path(tempfile.mkdtemp(prefix="hotfuel-")) if wanted else Path()
        self.show(folder)

    def show(self, folder: Path) -> None:
        """Show this folder instead of the one before."""
        self._terminate()
        before: list[str] = []
        for options in self._wanted:
            token = self._tokens / f"{next(self._numbers)}"
            command = [
                sys.executable,
                "-m",
                "hotfuel",
                "follow",
                str(folder),
                *options,
                "--units",
                self._units,
                "--recorder",
                str(os.getpid()),
                "--shown",
                str(token),
                *before,
            ]
            before = ["--after", str(token)]  # a terminal drawn over and over would hide the page's link
            self._running.append((subprocess.Popen(command), token))

    def end(self) -> None:
        """Wait until they have told their viewers that the recording has ended; stop those that show nothing yet or do not end in time. A second
        Ctrl-C waits no longer."""
        from hotfuel.live.leaving import WAIT_S

        last = time.monotonic() + WAIT_S
        waited_for = []
        for view, token in self._running:
            with contextlib.suppress(OSError):
                token.unlink()  # the token existed, so there may be viewers; its removal tells them that the recording has ended
                waited_for.append(view)
        with contextlib.suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
            for view in waited_for:
                view.wait(max(0.0, last - time.monotonic()))
        self._terminate()
        if self._wanted:
            shutil.rmtree(self._tokens, ignore_errors=True)

    def _terminate(self) -> None:
        for view, _ in self._running:
            view.terminate()
        self._running = []
