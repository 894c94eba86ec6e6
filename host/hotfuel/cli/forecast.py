"""`hotfuel forecast`: what a fix, several together, a fuel, a pass, a hotter day or a longer stop would do; without one, what to try first."""

from dataclasses import replace
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hotfuel.cli.shared import Json, OutPage, Pdf, Png, Units, WithoutNames, open_session, page_beside, share, show, told_first
from hotfuel.errors import HotfuelError, UsageError
from hotfuel.text import listed
from hotfuel.units import Shown, parse

if TYPE_CHECKING:
    from hotfuel.session.recording import Session
    from hotfuel.study.line.change import Change
    from hotfuel.study.line.forecast import Forecast


def forecast(
    session: Annotated[Path, typer.Argument(help="Session folder to start from.")],
    cooler: Annotated[
        list[str] | None,
        typer.Option(
            "--cooler",
            help='A cooler before a place, or in the "return": PLACE=EFFECTIVENESS, at a flow if you know it, or its UA: carb_inlet=0.6, '
            '"carb_inlet=0.6 at 10 L/h", "carb_inlet=8 W/K".',
        ),
    ] = None,
    coolant: Annotated[
        str | None, typer.Option("--coolant", help='What cools it: air, fan (default), water, ice, spray, or "15 degC".')
    ] = None,
    ice: Annotated[
        str | None, typer.Option("--ice", help='An ice can: with --cooler its coolant; "3 kg", or how long it lasts, "20 min".')
    ] = None,
    insulation: Annotated[
        list[str] | None,
        typer.Option("--insulation", help="The section before a place: PLACE=SHARE of its heat kept out. May be given again."),
    ] = None,
    shield: Annotated[list[str] | None, typer.Option("--shield", help="A heat shield beside that section: PLACE=SHARE.")] = None,
    spacer: Annotated[
        list[str] | None, typer.Option("--spacer", help="A spacer under it: pump=SHARE or carburettor=SHARE.")
    ] = None,
    back: Annotated[
        str | None, typer.Option("--return", help='A new return line: "30 L/h", to the tank, or "30 L/h to swirl pot".')
    ] = None,
    tank_holds: Annotated[str | None, typer.Option("--tank-holds", help='Fuel in the tank, "20 L".')] = None,
    pump_moved: Annotated[bool, typer.Option("--pump-near-tank", help="An electric pump near the tank instead.")] = False,
    tank_pump: Annotated[bool, typer.Option("--tank-pump", help="An electric pump in the tank instead.")] = False,
    fuel: Annotated[
        str | None,
        typer.Option("--fuel", help='Another fuel, e.g. "D4814 C-3", or a blend, "half D4814 E-5 and half D4814 A-1".'),
    ] = None,
    higher: Annotated[str | None, typer.Option("--higher", help='More altitude, e.g. "1500 m".')] = None,
    hotter: Annotated[str | None, typer.Option("--hotter", help='A hotter day, e.g. "15 degC" or "20 degF" more.')] = None,
    stop: Annotated[str | None, typer.Option("--stop", help='The hot stop lasts longer: "20 min".')] = None,
    together: Annotated[bool, typer.Option("--together", help="All of it at once, instead of each by itself.")] = False,
    outside: Annotated[
        str | None, typer.Option("--outside", help='Outside air during the session, if it is not noted: "28 degC".')
    ] = None,
    car: Annotated[Path | None, typer.Option("--car", help="Car file instead of the session's own.")] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep",
            help="Keep it with the session, to be checked against a drive with the fix (archive add, review --forecast).",
        ),
    ] = False,
    archive: Annotated[
        Path | None,
        typer.Option("--archive", help="Your archive: ranges take account of what your own fixes did.", envvar="HOTFUEL_ARCHIVE"),
    ] = None,
    out: OutPage = None,
    pdf: Pdf = None,
    png: Png = None,
    without_names: WithoutNames = False,
    units: Units = None,
    as_json: Json = False,
) -> None:
    """What a fix, a fuel, a pass, a hotter day or a longer stop would do; without one, what to try first. Example: hotfuel forecast sunday"""
    from hotfuel.report import came_words, first_words, forecast_words
    from hotfuel.report.line_words import in_words
    from hotfuel.study.drive.course import of_session
    from hotfuel.study.fixes import own
    from hotfuel.study.fixes.kept import kinds_in
    from hotfuel.study.fixes.present import present
    from hotfuel.study.line import first
    from hotfuel.study.line.change import Change
    from hotfuel.study.line.forecast import forecast as forecasts

    parts = _parts(
        cooler or [],
        coolant,
        ice,
        insulation or [],
        shield or [],
        spacer or [],
        back,
        pump_moved,
        tank_pump,
        fuel,
        higher,
        hotter,
        stop,
    )
    tank_l = parse(tank_holds, "volume") if tank_holds else None
    opened = open_session(session, car)
    share([opened], without_names)
    target = page_beside(out, pdf, png)
    if outside:
        opened.metadata["ambient_degc"] = parse(outside, "temperature")
    shown = Shown(units or (opened.car.units if opened.car else "si"))
    if keep and not parts:
        raise UsageError("--keep keeps the forecast of a fix: name the fix that will be fitted")
    history = own.of_archive(archive, bool(opened.metadata.get("simulated"))) if archive else {}
    if not parts:
        course = of_session(opened)
        there = present(opened, first.candidates(course, opened.car)) if opened.car is not None else first_words.NOTHING
        tried = first.try_first(course, own=history, without=there.fixes)
        caution = first_words.caution(*first.little_to_tell(course, tried), shown)
        assumed = first_words.assumed_fuel(opened)
        lines = [
            *([assumed] if assumed else []),
            *([f"{caution}."] if caution else []),
            *first_words.sentences(tried, shown, there),
            *came_words.history(history, [one.fix.kind for one in tried]),
        ]
        if target:
            from hotfuel.report import forecast as page
            from hotfuel.report import written

            with told_first(lines, target, as_json) as files:
                files += written.write(page.try_first(opened, tried, shown, caution, there), target, shown, pdf, png)
        unknown = [dict(zip(("fix", "fuss", "why"), row, strict=True)) for row in first_words.unknown(there)]
        told = in_words(first_words.by_outlook(tried, shown).as_dicts())
        show(
            {"try_first": told, "unknown": unknown, "fitted": first_words.fitted(there), "assumed_fuel": assumed}, lines, as_json
        )
        return
    if together:
        parts = [(listed([name for name, _ in parts]), _at_once(parts))]
    changes = [replace(Change(name, **values), tank_l=tank_l) for name, values in parts]
    made = forecasts(opened, changes, own=history)
    pairs = sorted(zip(changes, made, strict=True), key=lambda pair: -_gained(pair[1]))
    changes, made = [change for change, _ in pairs], [one for _, one in pairs]
    asked = {kind for change in changes for kind in kinds_in(change)}
    fuels = [change.fuel for change in changes if change.fuel is not None]
    assumed = first_words.assumed_fuel(opened, fuels)
    lines = [*([assumed] if assumed else []), *came_words.history(history, sorted(asked))]
    for one in made:
        lines += forecast_words.sentences(one, shown)
        lines += [f"  assumed: {text}" for text in forecast_words.assumptions(one, shown)]
    if keep:
        lines += _keep(opened, archive, list(zip(changes, made, strict=True)))
    if target:
        from hotfuel.report import forecast as page
        from hotfuel.report import written

        with told_first(lines, target, as_json) as files:
            files += written.write(page.changes(opened, made, shown, fuels), target, shown, pdf, png)
    show(
        {
            "forecasts": [forecast_words.as_dict(one, shown) for one in made],
            "own": {kind: one._asdict() for kind, one in history.items()},
            "assumed_fuel": assumed,
        },
        lines,
        as_json,
    )


def _gained(one: "Forecast") -> float:
    """Its gain in the smallest margin, degC; the least of all where none can be told."""
    return one.smallest.degc.middle if one.smallest is not None else -inf


def _keep(opened: "Session", archive: Path | None, told: "list[tuple[Change, Forecast]]") -> list[str]:
    """Keep forecasts with their session, and with its copy in the archive if there is one; returns a line about it."""
    from hotfuel.report.words import today
    from hotfuel.session import archive as store
    from hotfuel.study.fixes import kept

    folders = [opened.folder.path]
    if archive is not None:
        copy = archive / store.SESSIONS / store.identity_of(opened)
        folders += [copy] if copy.is_dir() and copy.resolve() != opened.folder.path.resolve() else []
    paths = [str(kept.keep(folder, told, today())) for folder in folders]
    return [f"kept: {listed(paths)}; it is checked against the drive with the fix when that session is added to the archive"]


def _parts(
    coolers: list[str], coolant: str | None, ice: str | None, insulation: list[str], shields: list[str], spacers: list[str], back: str | None,
    pump_moved: bool, tank_pump: bool, fuel: str | None, higher: str | None, hotter: str | None, stop: str | None,
) -> list[tuple[str, dict[str, Any]]]:  # fmt: skip
    """(what it is called, fields of a Change) of each part that was asked for. Raises UsageError for what cannot be read."""
    from hotfuel.fuel.named import fuel_named
    from hotfuel.places import place_words

    parts: list[tuple[str, dict[str, Any]]] = []
    parts += [_cooler(text, coolant, ice) for text in coolers]
    if (coolant or ice) and not coolers:
        raise UsageError("--coolant and --ice say how a cooler is cooled: give --cooler with them")
    for texts, option, what, share_field, place_field in (
        (insulation, "--insulation", "insulation", "insulation_share", "insulated_before"),
        (shields, "--shield", "a heat shield", "shield_share", "shielded_before"),
    ):
        for text in texts:
            place, share = _share(text, option)
            parts.append((f"{what} before the {place_words(place)}", {share_field: share, place_field: place}))
    for text in spacers:
        under, share = _share(text, "--spacer")
        parts.append((f"a spacer under the {under}", {"spacer_share": share, "spacer_under": under}))
    if back:
        flow, _, where = back.partition(" to ")
        parts.append(
            (f"a return of {flow.strip()}", {"return_l_h": parse(flow, "volume flow"), "return_to": where.strip() or "tank"})
        )
    if pump_moved:
        parts.append(("an electric pump near the tank", {"pump_moved": True}))
    if tank_pump:
        parts.append(("a pump in the tank", {"submerged_pump": True}))
    if fuel:
        parts.append((f"the fuel {fuel}", {"fuel": fuel_named(fuel)}))
    if higher:
        metres = parse(higher, "length")
        parts.append((f"{higher.strip(' -')} {'lower' if metres < 0 else 'higher'}", {"higher_m": metres}))
    if hotter:
        more = parse(hotter, "temperature difference")
        parts.append(
            (f"a day {hotter.strip(' -').replace('deg', '°')} {'cooler' if more < 0 else 'hotter'}", {"hotter_degc": more})
        )
    if stop:
        parts.append((f"a stop of {stop.strip()}", {"stop_min": parse(stop, "time") / 60}))
    return parts


_AGAIN = {"insulated_before": "also_insulated", "shielded_before": "also_shielded", "spacer_under": "also_spaced"}


def _at_once(parts: list[tuple[str, dict[str, Any]]]) -> dict[str, Any]:
    """The fields of one Change of all parts. Raises UsageError for two coolers, and for a fix twice at one place."""
    made: dict[str, Any] = {}
    for name, values in parts:
        if "cooler_before" in made and "cooler_before" in values:
            raise UsageError(
                "--together takes one cooler, and two were given: leave one out, or leave out --together for each by itself"
            )
        at = next((field for field in _AGAIN if field in values), None)
        if at is None or at not in made:
            made |= values
            continue
        share = next(value for field, value in values.items() if field != at)
        more = made.get(_AGAIN[at], ())
        if values[at] in (made[at], *(place for place, _ in more)):
            raise UsageError(f"--together was given {name} twice: leave one out, or leave out --together for each by itself")
        made[_AGAIN[at]] = (*more, (values[at], share))
    return made


def _cooler(text: str, coolant: str | None, ice: str | None) -> tuple[str, dict[str, Any]]:
    from hotfuel.places import place_from_words, place_words

    place, equals, size = text.partition("=")
    place = place_from_words(place)
    size, _, at = size.partition(" at ")
    values: dict[str, Any] = {"cooler_before": place}
    if at:
        values["cooler_flow_l_h"] = parse(at, "volume flow")
    try:
        values["cooler_ua_w_k" if not _number(size) else "cooler_effectiveness"] = (
            _share(f"{place}={size}", "--cooler")[1] if _number(size) else parse(size, "heat conductance")
        )
    except HotfuelError:
        if _number(size) or not equals:
            raise UsageError(
                f'--cooler "{text}" is not PLACE=SHARE with a share above 0 and up to 1, nor PLACE=UA ("8 W/K")'
            ) from None
        raise
    if ice:
        values["coolant"] = "ice"
        minutes = ice.strip().endswith("min")
        values["ice_minutes" if minutes else "ice_kg"] = parse(ice, "time") / 60 if minutes else parse(ice, "mass")
    elif coolant in ("air", "fan", "water", "ice", "spray"):
        values["coolant"] = coolant
    elif coolant:
        values["coolant_degc"] = parse(coolant, "temperature")
    where = "in the return" if place == "return" else f"before the {place_words(place)}"
    return f"{'an ice can' if values.get('coolant') == 'ice' else 'a cooler'} {where}", values


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _share(text: str, option: str) -> tuple[str, float]:
    from hotfuel.places import place_from_words

    place, equals, number = text.partition("=")
    place = place_from_words(place)
    try:
        value = float(number)
    except ValueError:
        equals = ""
        value = 0.0
    if not equals or not 0 < value <= 1:
        raise UsageError(f'{option} "{text}" is not PLACE=SHARE with a share above 0 and up to 1')
    return place, value
