"""The application object, what all commands share, and the one place where an error becomes a sentence and an exit code.

Exit codes: 0 done, 1 the data is bad, 2 wrong use, 130 stopped by Ctrl-C.
With --json exactly one JSON object goes to stdout; progress and remarks go to stderr.
"""

import contextlib
import importlib.metadata
import json
import math
import os
import sys
from collections.abc import Iterator
from typing import Annotated, Any

import typer
from rich.console import Console
from typer.core import TyperGroup

from hotfuel.cli import INTERRUPTED, STOPPED
from hotfuel.errors import HotfuelError, UsageError

_ORDER = (
    *("demo", "simulator", "board", "check", "limits", "record", "follow", "download"),
    *("review", "decode", "compare", "power", "forecast", "cooler", "archive"),
)


_WrongUse: Any = typer.BadParameter.__base__  # of every mistake in a command's words and options


def _plainly(said: str) -> str:
    """A parser's remark as the beginning of a sentence of ours."""
    for theirs, ours in (
        ("Input should be a valid number, unable to parse string as a number", "it is a number, like 0.5"),
        ("Input should be a valid integer, unable to parse string as an integer", "it is a whole number, like 5"),
        ("Input should be", "it has to be"),
        (". Did you mean", ", did you mean"),
    ):
        said = said.replace(theirs, ours)
    return (said[:1].lower() + said[1:]).rstrip(".")


@contextlib.contextmanager
def _in_our_words() -> Iterator[None]:
    """What the parser says of a command typed wrong, as one sentence that names the help."""
    try:
        yield
    except _WrongUse as error:
        said = error.format_message()
        if "\n" in said:  # the help of a group called without a command
            raise
        raise UsageError(f"{_plainly(said)} (`{error.ctx.command_path if error.ctx else 'hotfuel'} --help` tells more)") from None


class _Commands(TyperGroup):
    """The commands, in the order one comes to need them; Ctrl-C ends each of them with a sentence."""

    def list_commands(self, ctx: Any) -> list[str]:
        return sorted(super().list_commands(ctx), key=_ORDER.index)

    def make_context(self, *arguments: Any, **options: Any) -> Any:
        with _in_our_words():
            return super().make_context(*arguments, **options)

    def invoke(self, ctx: Any) -> Any:
        try:
            with _in_our_words():
                return super().invoke(ctx)
        except (KeyboardInterrupt, typer.Abort):  # the latter at a question
            err.print(STOPPED, markup=False)
            raise typer.Exit(INTERRUPTED) from None


app = typer.Typer(
    name="hotfuel",
    cls=_Commands,
    help="How hot the fuel gets in the moving car, how near each place is to boiling, and which fix really helped.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,
)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"hotfuel {importlib.metadata.version('hotfuel')}")
        raise typer.Exit


@app.callback()
def _of_all(
    version: Annotated[
        bool, typer.Option("--version", help="Say which version this is.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    pass


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Whoever read our output has gone (for example `| head`); nothing is left to say, and nothing went wrong."""
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(0)


out = _Console(highlight=False, soft_wrap=True)
err = _Console(stderr=True, highlight=False, soft_wrap=True)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on stdout instead of text.")]
Units = Annotated[str | None, typer.Option("--units", help="Units shown: si or us. Default: the car file's, else si.")]


def plain(value: Any) -> Any:
    """A value as JSON can hold it: numpy scalars become numbers, nan and infinity become null, paths and times become text."""
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set):
        return [plain(entry) for entry in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int | bool):
        return value
    if hasattr(value, "as_dict"):
        return plain(value.as_dict())
    return str(value)


def show(result: dict[str, Any], lines: list[str], as_json: bool) -> None:
    """Print the result: as one JSON object, or as lines for a person."""
    if as_json:
        print(json.dumps(plain(result), ensure_ascii="utf" not in (sys.stdout.encoding or "").lower(), allow_nan=False))
    else:
        for line in lines:
            out.print(line, markup=False)


def note(text: str) -> None:
    """A remark that is not the result: to stderr."""
    err.print(text, markup=False)


def run() -> None:
    """Run the command that was typed; every error becomes a sentence and an exit code."""
    from hotfuel.cli import archives, boards, checks, drives, fuels, reviews, studies  # noqa: F401 - importing them declares their commands

    try:
        app(standalone_mode=True)
    except HotfuelError as error:
        err.print(f"hotfuel: {error}", markup=False)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # Whoever read our output has gone (for example `| head`); nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        err.print(f"hotfuel: {name}{error.strerror or error}", markup=False)
        sys.exit(1)
