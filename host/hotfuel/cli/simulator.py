"""`hotfuel simulator`: a simulated board in a simulated car."""

import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hotfuel.cli.shared import note
from hotfuel.cli.shared_car import DRIVE, MORE_INPUTS, Speed, car_text, leave_car_file, model_of
from hotfuel.errors import InputError, UsageError

if TYPE_CHECKING:
    from hotfuel.simulator.car_model import CarModel


def simulator(
    pty: Annotated[
        bool, typer.Option("--pty/--socket", help="Offer the board on a pseudo-terminal, or on a local socket.")
    ] = True,
    speed: Speed = 1.0,
    drive: Annotated[str, typer.Option("--drive", help="Which drive; an unknown name lists them.")] = DRIVE,
    seed: Annotated[int, typer.Option("--seed", help="Another seed gives another day and driver.")] = 1,
    receiver: Annotated[
        bool,
        typer.Option("--receiver", help='Offer a satellite receiver on a second pseudo-terminal, as for --drive "track day".'),
    ] = False,
    more_inputs: Annotated[
        bool,
        typer.Option(
            "--more-inputs", help="With mixture, throttle, a second pressure and two flow meters; --car-out names them."
        ),
    ] = False,
    receiver_at_board: Annotated[
        bool,
        typer.Option(
            "--receiver-at-board", help="The satellite receiver at the board itself: its positions go into the board's store."
        ),
    ] = False,
    car_out: Annotated[Path | None, typer.Option("--car-out", help="Write the simulated car's file here.")] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault",
            help='What breaks, to see its warning before the car: a place, "=", what it does, and when in the drive: '
            '"pump=loose at 2 min for 30 s". May be given again; an unknown word lists what there is.',
        ),
    ] = None,
    seconds: Annotated[float | None, typer.Option("--for", help="Stop after this many seconds of wall time.", min=0.1)] = None,
) -> None:
    """A simulated board in a simulated car, for trying everything without parts. Example: hotfuel simulator --pty --fault "pump=loose at 60 s\""""
    from hotfuel import car as car_file
    from hotfuel.simulator import faults
    from hotfuel.simulator.board import SimulatedBoard
    from hotfuel.simulator.feed import Senders

    if receiver and receiver_at_board:
        raise UsageError("the simulated car has one receiver: give --receiver or --receiver-at-board")
    if receiver and not pty:
        raise UsageError("the simulated receiver is offered on a pseudo-terminal only: leave out --socket")
    if (receiver or receiver_at_board) and speed != 1:
        raise UsageError("a receiver's time cannot run faster: leave out --speed")
    model = model_of(drive, seed)
    places = [probe.where for probe in model.scenario.probes]
    switchboard = faults.Switchboard([faults.fault_of(asked, places) for asked in fault or ()], places, note)
    if car_out is not None:
        leave_car_file(car_out, car_text(model.scenario, more_inputs))
    wired = (*(MORE_INPUTS if more_inputs else ()), *(("receiver",) if receiver_at_board else ()))
    with (
        SimulatedBoard(
            model,
            speed=speed,
            link=None if pty else "socket",
            senders=Senders.of(car_file.load(car_text(model.scenario, more_inputs))),
            settings={"more_inputs": wired} if wired else None,
        ) as board,
        contextlib.ExitStack() as beside,
    ):
        switchboard.turn(board)  # before anybody can read it and its time begins
        print(board.device, flush=True)
        told = _Receiver(model, speed, seed, board.receiver_says) if receiver_at_board else None
        if receiver:
            told = beside.enter_context(_Port(model, speed, seed))
            print(told.device, flush=True)
        note(
            f"simulated board under {board.engine}, {speed:g} times real time, {drive}; end it with Ctrl-C; in another terminal: "
            f"hotfuel record --port {board.device}{f' --receiver {told.device}' if isinstance(told, _Port) else ''} --out sunday"
        )
        end = None if seconds is None else time.monotonic() + seconds
        with contextlib.suppress(KeyboardInterrupt):
            while not board.finished and (end is None or time.monotonic() < end):
                time.sleep(0.1)
                switchboard.turn(board)
                if told is not None:
                    told.say()
        if board.finished and not board.failure:
            note("the simulated drive is over and the board has gone: a recording of it can be ended with Ctrl-C")
        if board.failure:
            raise InputError(f"the simulated board could not go on: {board.failure}")


class _Receiver:
    """The receiver in the simulated car: its sentences go to `send`, in time with the board."""

    def __init__(self, model: "CarModel", speed: float, seed: int, send: Callable[[bytes], None]) -> None:
        import numpy as np

        from hotfuel.simulator import circuit

        track = circuit.Circuit()
        driven = circuit.follow(track, model.profile.time_s, model.profile.speed_km_h / 3.6, period_s=0.2)
        self._speed, self._began = speed, time.monotonic()
        self._told = circuit.sentences(track, driven, time.time(), 1.0, np.random.default_rng(seed))
        self._next = next(self._told, None)
        self._send = send

    def say(self) -> None:
        """Send everything that is due; what nobody reads is lost, as at a real port."""
        at = (time.monotonic() - self._began) * self._speed
        while self._next is not None and self._next[0] <= at:
            self._send(self._next[1])
            self._next = next(self._told, None)


class _Port(_Receiver):
    """The same receiver on its own pseudo-terminal."""

    def __init__(self, model: "CarModel", speed: float, seed: int) -> None:
        import tty

        super().__init__(model, speed, seed, self._write)
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.device = os.ttyname(self._slave)

    def _write(self, sentence: bytes) -> None:
        with contextlib.suppress(BlockingIOError):
            os.write(self._master, sentence + b"\r\n")

    def __enter__(self) -> "_Port":
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._master)
        os.close(self._slave)
