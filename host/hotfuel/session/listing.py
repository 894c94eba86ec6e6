"""The sessions of an archive, found by what happened in them. Leftovers of a killed command or a bad disk are repaired first, and reported."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.messages import SATURATED, TYPES

from hotfuel.errors import InputError
from hotfuel.log import follow
from hotfuel.log.ending import ending
from hotfuel.log.rescue import standing
from hotfuel.session import folder as session_folder
from hotfuel.session.results import SESSIONS, SUMMARY, identities, require_duckdb, work_out
from hotfuel.session.summary import SILENT_S

Say = Callable[[str], None]


@dataclass(frozen=True)
class Failed:
    """A session that is not listed, or not from its log, and why; as text one sentence that begins with its id."""

    session: str
    why: str

    def __str__(self) -> str:
        return f"{self.session}: {self.why}"


Bad = Callable[[Failed], None]
_FIRST_LOOK = 8192  # bytes; a board sends its first reading within them
_SIZES = "SELECT DISTINCT COLUMNS('^(session|log_bytes)$') FROM read_parquet($files, union_by_name = true)"  # older summaries have none
_LISTED = f"""
SELECT session, any_value(name) AS title, any_value(car_name) AS car, any_value(date) AS date, any_value(started_utc) AS started_utc,
       any_value(fix) AS fix, any_value(duration_s) AS duration_s, max(hottest_degc) FILTER (holds_fuel) AS hottest_degc,
       arg_max(place, hottest_degc) FILTER (holds_fuel) AS hottest_place, min(smallest_margin_degc) AS smallest_margin_degc,
       arg_min(place, smallest_margin_degc) AS smallest_margin_place, string_agg(place, ' ' ORDER BY place) AS places,
       string_agg(place, ' ' ORDER BY place) FILTER (holds_fuel AND unread_s > {SILENT_S}) AS unread_places, max(unread_s) FILTER (holds_fuel) AS unread_s,
       string_agg(place, ' ' ORDER BY place) FILTER (holds_fuel AND suspected_s > {SILENT_S}) AS suspected_places,
       max(suspected_s) FILTER (holds_fuel) AS suspected_s
FROM (FROM read_parquet($files, hive_partitioning = true, hive_types_autocast = false, union_by_name = true)
      UNION ALL BY NAME SELECT NULL::DOUBLE AS unread_s, NULL::DOUBLE AS suspected_s WHERE false) -- which older summaries have not
GROUP BY session
"""


def listed(archive: str | Path, say: Say = lambda sentence: None, bad: Bad = lambda failed: None) -> pd.DataFrame:
    """All sessions, one row each, oldest first: session (its id), title, car, date, started_utc, fix, duration_s, hottest_degc, hottest_place,
    smallest_margin_degc, smallest_margin_place, places, unread_places (those in the fuel not read for long, of which no number tells; missing where there is
    none), unread_s (of the worst of them), suspected_places and suspected_s (the same of those whose probe may not have read the fuel), not_whole (a
    sentence: what of its drive is missing or elsewhere; else "").
    Raises InputError if there is no archive.

    say: gets a sentence for each session that had to be recomputed, or whose folder no longer exists. bad: a Failed for each
    that cannot be listed, or is listed with earlier results because its log was cut or no longer holds a reading.
    """
    return find(archive, say=say, bad=bad)


def find(
    archive: str | Path,
    *,
    car: str | None = None,
    place: str | None = None,
    fix: str | None = None,
    since: str | None = None,
    until: str | None = None,
    hotter_than_degc: float | None = None,
    margin_below_degc: float | None = None,
    say: Say = lambda sentence: None,
    bad: Bad = lambda failed: None,
) -> pd.DataFrame:
    """The sessions that match everything given; columns as `listed`. car, fix: part of the name, any case. place: a place that was measured.

    since, until: days, 2026-06-01, both included. Raises InputError if there is no archive, or for an invalid day.
    """
    require_duckdb()
    import duckdb

    root = existing(archive)
    files = _summaries(root, say, bad, _whole)
    if not files:
        raise InputError(f"{archive} holds no session yet: add one with `hotfuel archive add`")
    wanted = {
        "contains(lower(car), lower($car))": ("car", car),
        "contains(lower(fix), lower($fix))": ("fix", fix),
        "list_contains(string_split(places, ' '), $place)": ("place", place),
        "date >= $since": ("since", _day(since)),
        "date <= $until": ("until", _day(until)),
        "hottest_degc > $hotter": ("hotter", hotter_than_degc),
        "smallest_margin_degc < $margin": ("margin", margin_below_degc),
    }
    given = {text: pair for text, pair in wanted.items() if pair[1] is not None}
    where = " AND ".join(given) or "true"
    query = f"SELECT * FROM ({_LISTED}) WHERE {where} ORDER BY date, started_utc, session"

    def asked() -> pd.DataFrame:
        with duckdb.connect() as database:
            sizes = database.execute(_SIZES, {"files": [str(file) for file in files]}).df()
            for failed in _changed_logs(root, sizes):
                bad(failed)
            found = database.execute(query, {"files": [str(file) for file in files], **dict(given.values())}).df()
        return found.assign(not_whole=[not_whole(root, str(identity)) for identity in found["session"]])

    try:
        return asked()
    except duckdb.Error:  # a file with both ends intact is damaged inside: each is read, and that one is recomputed
        files = _summaries(root, say, bad, _readable)
        return asked()


def places(archive: str | Path) -> list[str]:
    """The names of all places that some session of the archive measured."""
    return sorted({place for row in listed(archive)["places"] for place in str(row).split()})


def not_whole(root: Path, identity: str) -> str:
    """What a session's log lacks, holds of another recording, or how it breaks off; "" if it is whole on its disk, or unreadable (told otherwise)."""
    log = root / SESSIONS / identity / session_folder.LOG
    try:
        found = standing(log)
        broken_off = ending(log, standing=found)
    except (OSError, InputError):
        return ""
    said = [f"{found.sentence()}."] if found is not None else []
    return " ".join([*said, *([broken_off.sentence()] if broken_off is not None and broken_off.sure else [])])


def _summaries(root: Path, say: Say, bad: Bad, good: Callable[[Path], bool]) -> list[Path]:
    """The summary of every existing session, each `good`; recomputed where it was not."""
    here = identities(root)
    found: dict[str, list[Path]] = {}
    for file in sorted((root / SUMMARY).glob("*/*/*.parquet")):
        found.setdefault(file.stem, []).append(file)
    for identity in sorted(found.keys() - set(here)):
        say(f"{identity} is not listed any more: its folder in {root / SESSIONS} no longer exists")
    usable = []
    for identity in here:
        files = found.get(identity, [])
        wrong = "it had no results" if not files else "its summary could not be read" if not all(map(good, files)) else ""
        if wrong:
            for file in files:
                file.unlink(missing_ok=True)
            problem = work_out(str(root), identity, None)
            if problem:
                bad(Failed(identity, f"{wrong}, and recomputing it failed: {problem}"))
                continue
            say(f"{identity} was recomputed: {wrong}")
            files = sorted((root / SUMMARY).glob(f"*/*/{identity}.parquet"))
        elif not _has_reading(root / SESSIONS / identity / session_folder.LOG):
            bad(
                Failed(
                    identity, "no reading is left in its log; the listed results are earlier ones: put the log back from a copy"
                )
            )
        usable += files[:1]
    return usable


def _changed_logs(root: Path, sizes: pd.DataFrame) -> Iterator[Failed]:
    """One for each log that is longer than the one its results were computed from, or shorter but still holds a reading."""
    for row in sizes.to_dict("records"):
        log, full = root / SESSIONS / str(row["session"]) / session_folder.LOG, row.get("log_bytes")
        size = log.stat().st_size if log.is_file() else 0
        if full is not None and size > full:
            yield Failed(
                str(row["session"]),
                f"its log has grown by {size - int(full):,} bytes that its results do not hold: "
                f"see what they are with hotfuel rescue {log.parent}",
            )
        elif full is not None and size < full and _has_reading(log):
            yield Failed(
                str(row["session"]),
                f"its log was cut ({size:,} of {int(full):,} bytes are left); the listed results are earlier ones: "
                "put the log back from a copy",
            )


def _has_reading(log: Path) -> bool:
    """Stops at the first reading, so that a good log is checked quickly."""
    reader = FrameReader()
    try:
        return any(
            payload[0] & ~SATURATED == TYPES["reading"]
            for data in follow.blocks(log, _FIRST_LOOK)
            for payload in reader.feed(data)
        )
    except (InputError, OSError):
        return False


def _whole(file: Path) -> bool:
    """Whether it begins and ends as a Parquet file does: quick, and enough to detect a file that was cut off."""
    with open(file, "rb") as one:
        begins = one.read(4)
        one.seek(max(0, file.stat().st_size - 4))
        return begins == one.read(4) == b"PAR1" and file.stat().st_size > 12


def _readable(file: Path) -> bool:
    import duckdb

    try:
        with duckdb.connect() as database:
            return len(database.execute("SELECT * FROM read_parquet($file)", {"file": str(file)}).fetchall()) > 0
    except (OSError, duckdb.Error):
        return False


def existing(archive: str | Path) -> Path:
    """The archive's folder. Raises InputError if there is none."""
    root = Path(archive)
    if not (root / SESSIONS).is_dir():
        raise InputError(f"{root} is not an archive: `hotfuel archive add` makes one")
    return root


def _day(text: str | None) -> str | None:
    if text is None:
        return None
    try:
        return pd.Timestamp(text).strftime("%Y-%m-%d")
    except ValueError:
        raise InputError(f'"{text}" is not a day: write it like 2026-06-01') from None
