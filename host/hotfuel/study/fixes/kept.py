"""A forecast kept with the session it was made from, to be compared with what came once there is a session with the fix."""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from hotfuel.errors import HotfuelError, InputError
from hotfuel.files import whole
from hotfuel.fix_words import kinds_of
from hotfuel.places import place_words
from hotfuel.session.folder import FORECASTS
from hotfuel.study.drive.phases import PHASES
from hotfuel.study.fixes.fitted import KINDS, kind_of, what_and_where
from hotfuel.study.line.change import Change
from hotfuel.study.line.draws import Interval
from hotfuel.study.line.forecast import Forecast
from hotfuel.study.line.stages import Stage

FORMAT = 1


@dataclass(frozen=True)
class Kept:
    """One forecast as it was made, and the day. room: the smallest margin anywhere, before and with the change, with the place and phase where it will be;
    None where no limit is known, and in files older than this field. room_kind: the kind of that phase."""

    change: Change
    stages: tuple[Stage, ...]
    made: str
    room: Stage | None = None
    room_kind: str = ""

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of fix in it (hotfuel.study.fixes.fitted.KINDS)."""
        return kinds_in(self.change)

    @property
    def place(self) -> str:
        """The place that a single fix of it stands before, "" where it has none or there are several."""
        one = self.change
        found = {p for p in (one.cooler_before, *one.insulated, *one.shielded) if p}
        return found.pop() if len(found) == 1 else ""


def kinds_in(change: Change) -> tuple[str, ...]:
    """The kinds of fix in a change."""
    iced = change.coolant == "ice" and change.coolant_degc is None
    given = {
        "ice": change.cooled and iced, "cooler": change.cooled and not iced, "spacer": bool(change.spaced),
        "shield": bool(change.shielded), "insulation": bool(change.insulated), "return": change.return_l_h is not None,
        "pump": change.pump_moved or change.submerged_pump,
    }  # fmt: skip
    return tuple(kind for kind in KINDS if given.get(kind))


def keep(folder: Path, told: Sequence[tuple[Change, Forecast]], made: str) -> Path:
    """Add forecasts to those of a session's folder; one of the same name takes an older one's place. Returns the file.

    Raises InputError for a change that is no fix, because no session says that it was fitted, and where the file cannot be written.
    """
    for change, _ in told:
        if not change.acts_on_temperature or change.fuel or change.higher_m or change.hotter_degc or change.stop_min:
            raise InputError(
                f"{change.name} is not a fix, so no later session can show whether it came true: leave out --keep, or leave out what is not a fix"
            )
    path = folder / FORECASTS
    names = {change.name for change, _ in told}
    rows = [_plain(one) for one in read(folder)[0] if one.change.name not in names]
    rows += [
        _plain(Kept(change, one.stages, made, room_in(one), one.smallest.kind if one.smallest else "")) for change, one in told
    ]
    with whole(path) as part:
        part.write_text(json.dumps({"format": FORMAT, "forecasts": rows}, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return path


def room_in(one: Forecast) -> Stage | None:
    """The smallest margin of all places, before and with the change, degC; None where no limit is known."""
    was = [row.margin_before_degc for row in one.rows if row.margin_before_degc == row.margin_before_degc]
    if one.smallest is None or not was:
        return None
    gain, before = one.smallest.degc, min(was)
    return Stage(
        one.smallest.place,
        one.smallest.phase,
        0.0,
        before,
        Interval(before + gain.least, before + gain.middle, before + gain.greatest),
    )


def read(folder: Path) -> tuple[list[Kept], bool]:
    """(forecasts kept with a session, oldest first; whether their file is damaged and was left out)."""
    path = folder / FORECASTS
    try:
        if os.stat(path).st_size > 1 << 22:
            raise ValueError("too long")
        rows = json.loads(path.read_text(encoding="utf-8"))["forecasts"]
        found = [_kept(row) for row in rows]
    except FileNotFoundError:
        return [], False
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError, HotfuelError):
        return [], True
    return found, False


def matching(found: Sequence[Kept], said: Mapping[str, Any]) -> Kept | None:
    """The last forecast of what a session's metadata says was fitted, None where there is none."""
    words = str(said.get("fix") or "")
    named, first = kinds_of(words), kind_of(words)
    where = place_words(str(said.get("before") or what_and_where(words)[1]).strip())
    for one in reversed(found):
        kinds = one.kinds
        if first in kinds and set(kinds) <= set(named) and (not where or not one.place or where == place_words(one.place)):
            return one
    return None


def _plain(one: Kept) -> dict[str, Any]:
    usual = {f.name: f.default for f in fields(Change)}
    change = {name: value for name, value in asdict(one.change).items() if value != usual[name]}
    room = {"room": asdict(one.room) | {"kind": one.room_kind}} if one.room is not None else {}
    return {"made": one.made, "change": change, "stages": [asdict(stage) for stage in one.stages], **room}


def _tuples(value: Any) -> Any:
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def _kept(row: Any) -> Kept:
    known = {f.name for f in fields(Change)} - {"fuel"}
    given: dict[str, Any] = {name: _tuples(value) for name, value in row["change"].items() if name in known}
    room = row.get("room")
    known_room = (_stage(room), str(room.get("kind") or _kind_before(str(room["phase"])))) if room is not None else (None, "")
    return Kept(Change(**given), tuple(map(_stage, row["stages"])), str(row["made"]), *known_room)


def _kind_before(phase: str) -> str:
    """The kind of a phase in a file that is older than that field: the name began with the kind, a number followed where there were several."""
    return next((kind for kind in PHASES if phase == kind or phase.startswith(f"{kind} ")), "")


def _stage(s: Any) -> Stage:
    told = Interval(float(s["told"]["least"]), float(s["told"]["middle"]), float(s["told"]["greatest"]))
    return Stage(str(s["place"]), str(s["phase"]), float(s["seconds"]), float(s["before_degc"]), told)
