"""The application: which commands there are, and the one place where an error becomes a sentence and an exit code.

Exit codes: 0 done, 1 the data is bad, 2 wrong use, 130 stopped by Ctrl-C.
With --json exactly one JSON object goes to stdout; progress and remarks go to stderr.
"""

import contextlib
import importlib.metadata
import os
import sys
from collections.abc import Iterator
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from hotfuel.cli import (
    INTERRUPTED,
    STOPPED,
    archive,
    board,
    board_check,
    check,
    compare,
    cooler,
    decode,
    demo,
    download,
    follow,
    forecast,
    limits,
    power,
    record,
    rescue,
    review,
    simulator,
)
from hotfuel.cli.shared import err, note
from hotfuel.errors import HotfuelError, UsageError

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
        return [name for name, *_ in _COMMANDS]

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


board.board.command("check", short_help="The box tests itself; the rest as steps by hand.")(board_check.board_check)

# In the order one comes to need them: name, what it runs, its line in the list where the docstring's first line is too long for it.
_COMMANDS: tuple[tuple[str, Any, str | None], ...] = (
    ("demo", demo.demo, "The whole job on a simulated car."),
    ("simulator", simulator.simulator, "A simulated board in a simulated car."),
    ("board", board.board, None),
    ("check", check.check, "Is each probe right? Writes a calibration."),
    ("limits", limits.limits, None),
    ("record", record.record, None),
    ("follow", follow.follow, None),
    ("rescue", rescue.rescue, "Put back what a full or lost disk left elsewhere."),
    ("download", download.download, None),
    ("review", review.review, None),
    ("decode", decode.decode, None),
    ("compare", compare.compare, "Did a fix lower the temperature?"),
    ("power", power.power, None),
    ("forecast", forecast.forecast, None),
    ("cooler", cooler.cooler, "How good a cooler in the line is, and elsewhere."),
    ("archive", archive.archive, None),
)
for _name, _runs, _short in _COMMANDS:
    if isinstance(_runs, typer.Typer):
        app.add_typer(_runs, name=_name)
    else:
        app.command(_name, short_help=_short)(_runs)


def run() -> None:
    """Run the command that was typed; every error becomes a sentence and an exit code."""
    try:
        app(standalone_mode=True, prog_name="hotfuel")
    except HotfuelError as error:
        note(f"hotfuel: {error}")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # Whoever read our output has gone (for example `| head`); nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        name = (
            f"{os.fsdecode(error.filename) if isinstance(error.filename, bytes) else error.filename}: " if error.filename else ""
        )
        note(f"hotfuel: {name}{error.strerror or error}")
        sys.exit(1)
