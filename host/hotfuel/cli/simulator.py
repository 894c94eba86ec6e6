"""`hotfuel simulator`: a simulated board in a simulated car."""

import contextlib
import time
from pathlib import Path
from typing import Annotated

import typer

from hotfuel.cli.shared import note
from hotfuel.cli.shared_car import DRIVE, Speed, car_text, leave_car_file, model_of
from hotfuel.errors import InputError


def simulator(
    pty: Annotated[
        bool, typer.Option("--pty/--socket", help="Offer the board on a pseudo-terminal, or on a local socket.")
    ] = True,
    speed: Speed = 1.0,
    drive: Annotated[str, typer.Option("--drive", help="Which drive; an unknown name lists them.")] = DRIVE,
    seed: Annotated[int, typer.Option("--seed", help="Another seed is another day and driver.")] = 1,
    car_out: Annotated[Path | None, typer.Option("--car-out", help="Write the simulated car's file here.")] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds of wall time.", min=0.1)] = None,
) -> None:
    """A simulated board in a simulated car, for trying everything without parts. Example: hotfuel simulator --pty"""
    from hotfuel import car as car_file
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.feed import Senders

    model = model_of(drive, seed)
    if car_out is not None:
        leave_car_file(car_out, car_text(model.scenario))
    with SimulatedBoard(
        model, speed=speed, link=None if pty else "socket", senders=Senders.of(car_file.load(car_file.EXAMPLE))
    ) as board:
        print(board.device, flush=True)
        note(
            f"simulated board under {board.engine}, {speed:g} times real time, {drive}; end it with Ctrl-C; in another terminal: "
            f"hotfuel record --port {board.device} --out sunday"
        )
        end = None if seconds is None else time.monotonic() + seconds
        with contextlib.suppress(KeyboardInterrupt):
            while not board.finished and (end is None or time.monotonic() < end):
                time.sleep(0.1)
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")
