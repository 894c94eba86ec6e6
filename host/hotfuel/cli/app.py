"""The application: which commands there are, and the one place where an error becomes a sentence and an exit code.

Exit codes: 0 done, 1 the data is bad, 2 wrong use, 130 stopped by Ctrl-C.
With --json exactly one JSON object goes to stdout; progress and remarks go to stderr.
"""

import contextlib
import importlib
import os
import sys
from collections.abc import Iterator
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from hotfuel.cli import INTERRUPTED, STOPPED
from hotfuel.cli.shared import err, note
from hotfuel.errors import HotfuelError, UsageError

# In the order in which a user needs them. Each is the object of this name in the file of this name: a function, or a typer.Typer of several.
COMMANDS = {
    "demo": "The whole job on a simulated car.",
    "simulator": "A simulated board in a simulated car.",
    "board": "The board: install it, set it up, load limits.",
    "check": "Is each probe right? Writes a calibration.",
    "limits": "At what temperature this fuel boils at each place of this car.",
    "plan": "A test day: how many runs, in which order.",
    "record": "Record a drive and warn while it lasts.",
    "follow": "Watch a recording, or look at one that has ended.",
    "rescue": "Put back what a full or lost disk left elsewhere.",
    "download": "Fetch what the board stored by itself.",
    "review": "What happened, as a page and a sheet for the customer.",
    "laps": "A table of laps, and which sector of the lap costs margin.",
    "readings": "Readings by hand: list them, or join a table of them.",
    "decode": "Temperatures, margins and inputs as a table for other programs.",
    "inspect": "The bytes of a log, frame by frame and field by field.",
    "compare": "Did a fix lower the temperature?",
    "power": "What a change did for power, or how many pulls to make.",
    "forecast": "What a fix, a fuel, a pass or a hotter day would do.",
    "cooler": "How good a cooler in the line is, here and under other conditions.",
    "archive": "Many sessions: add, list, find, page, recompute.",
}

_WrongUse: Any = typer.BadParameter.__base__  # of every mistake in a command's arguments and options


def _plainly(said: str) -> str:
    """A parser's message as the start of our sentence."""
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
    """The parser's message about a mistyped command, as one sentence that names the help."""
    try:
        yield
    except _WrongUse as error:
        said = error.format_message()
        if "\n" in said:  # the help of a group called without a command
            raise
        raise UsageError(f"{_plainly(said)} (`{error.ctx.command_path if error.ctx else 'hotfuel'} --help` tells more)") from None


class _Loaded(dict[str, Any]):
    """Commands by name; each file is imported when its command is first used, so that the list of commands imports none of them."""

    def __missing__(self, name: str) -> Any:
        if name not in COMMANDS:
            raise KeyError(name)
        runs = getattr(importlib.import_module(f"hotfuel.cli.{name}"), name)
        if name == "board":  # its command `check` has a file of its own, which board.py must not import
            from hotfuel.cli.board_check import board_check

            runs.command("check", short_help="The box tests itself; steps by hand for the rest.")(board_check)
        if not isinstance(runs, typer.Typer):
            one = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
            one.command(name, short_help=COMMANDS[name])(runs)
            runs = one
        self[name] = made = typer.main.get_command(runs)
        made.name = name
        return made

    def get(self, name: str, default: Any = None) -> Any:
        return self[name] if name in COMMANDS else default

    def keys(self) -> Any:
        return COMMANDS.keys()

    def items(self) -> Any:
        return [(name, self[name]) for name in COMMANDS]


class _Commands(TyperGroup):
    """The commands, in the order in which a user needs them; Ctrl-C ends each of them with a sentence."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands = _Loaded()

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def make_context(self, *arguments: Any, **options: Any) -> Any:
        with _in_our_words():
            return super().make_context(*arguments, **options)

    def invoke(self, ctx: Any) -> Any:
        try:
            with _in_our_words():
                return super().invoke(ctx)
        except (KeyboardInterrupt, typer.Abort):  # Abort: at a prompt
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
        import importlib.metadata

        print(f"hotfuel {importlib.metadata.version('hotfuel')}")
        raise typer.Exit


@app.callback()
def _of_all(
    version: Annotated[
        bool, typer.Option("--version", help="Say which version this is.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    pass


def run() -> None:
    """Run the command that was typed; every error becomes a sentence and an exit code."""
    try:
        app(standalone_mode=True, prog_name="hotfuel")
    except HotfuelError as error:
        note(f"hotfuel: {error}")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of our output has gone (for example `| head`): end quietly.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        name = (
            f"{os.fsdecode(error.filename) if isinstance(error.filename, bytes) else error.filename}: " if error.filename else ""
        )
        note(f"hotfuel: {name}{error.strerror or error}")
        sys.exit(1)
