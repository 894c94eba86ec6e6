"""What is there of a drive, before anything about where its bytes are: how many readings, from when to when, and how much is missing."""

from hotfuel.report import headline, words
from hotfuel.session import Session
from hotfuel.text import counted


def readings(session: Session) -> str:
    """One sentence about the whole recording."""
    found, losses = session.summary(), session.losses
    if not found.readings:
        return f"{session.name}: no reading can be read in its log"
    clock = words.Clock(session.ticks.timeline.anchored, session.metadata.get("utc_offset_min"))
    if clock.dates:
        last = (
            words.began(clock, found.ended)
            if clock.day(found.ended) != clock.day(found.started)
            else words.minute(clock, found.ended)
        )
        when = f"from {words.began(clock, found.started)} to {last} ({clock.zone}), "
    else:
        when = "its time of day not known, "
    broken = session.ending is not None and session.ending.sure
    breaks_off = ", the recording breaks off there and what followed is missing" if broken else ""
    there = f"{session.name}: {counted(found.readings, 'reading')}, {when}{words.duration(found.duration_s)} in all{breaks_off}"
    missing_s = found.duration_s - found.recorded_s
    gaps = f" ({words.duration(missing_s)} in all)" if missing_s > 0 else ""
    if losses.ticks_missing:
        said = f"{counted(losses.ticks_missing, 'reading is', 'readings are')} missing {'before that' if broken else 'between them'}{gaps}"
    else:
        said = f"none is missing {'before that' if broken else 'between them'}{gaps.replace('(', '(pauses: ')}"
    damaged = f", {counted(losses.pieces_damaged, 'damaged piece')} left out" if losses.pieces_damaged else ""
    rest = (
        f". The rest{' of what is there' if broken else ''} can be used as it is"
        if losses.ticks_missing or losses.pieces_damaged
        else ""
    )
    unread = headline.not_read(found)
    return f"{there}; {said}{damaged}{rest}{f'. {unread}' if unread else ''}"


def as_dict(session: Session) -> dict[str, object]:
    """The same for JSON."""
    found = session.summary().as_dict()
    told = {"readings": found["readings"], "from": found["started"], "to": found["ended"]}
    missing = {"missing_s": found["duration_s"] - found["recorded_s"], "missing_readings": session.losses.ticks_missing}
    return {
        **told,
        **missing,
        "pieces_damaged": session.losses.pieces_damaged,
        "unread_s": {one.place: one.unread_s for one in session.summary().unread},
    }
