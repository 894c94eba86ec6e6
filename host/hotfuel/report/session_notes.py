"""Everything a reader should know about a recording beside its numbers, in the reader's units."""

import contextlib

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import is_behind_needle, place_words
from hotfuel.report.words import Clock
from hotfuel.risk.probes import fall_note
from hotfuel.samples.clock import length
from hotfuel.session import Session, engine, frame, more_inputs
from hotfuel.temperature import trust
from hotfuel.temperature.doubts import doubts
from hotfuel.text import first_upper
from hotfuel.units import Shown

RECEIVER_OFF_S = 5.0  # less may be a slow port, or minutes stated by a person: not told


def all_notes(session: Session, shown: Shown | None = None, *, with_standing: bool = True) -> list[str]:
    """Every note on this recording, without duplicates: what is not on its disk, files left out, times assumed, places, margins, losses.

    shown: the reader's units, SI if not given. with_standing: False leaves out what `standing.sentence()` says.
    """
    not_on_disk = session.standing.not_on_disk if session.standing is not None else ""
    whole = with_standing or session.standing is None
    found = [f"{not_on_disk}."] if not_on_disk and whole else []
    found += doubts(session.calibration, session.car, shown=shown) if session.calibration is not None else []
    found += [*session.notes, *(session.decoded.notes if whole else session.decoded.corrections)]
    found += [*session.ticks.timeline.notes, *_receivers_time(session), *_places(session)]
    if session.car is not None:
        seconds = session.ticks.seconds
        course = engine.of_recording(session.input_arrays(), seconds, session.car) if len(seconds) else None
        found += course.doubts if course is not None else ()
        if session.car.inputs:
            columns, beyond = more_inputs.from_messages(session.decoded.messages["more_inputs"], session.car)
            found += more_inputs.notes(beyond, columns)
        with contextlib.suppress(InputError):
            table = session.margin_table
            found += [*table.notes_in(shown or Shown()), *filter(None, [table.engine_note])]
            for name, place in table.places.items():
                if place.traced is not None and place.traced.falls and not is_behind_needle(name):
                    found.append(fall_note(name, tank=session.car.place(name).role == "tank"))
    found += [*_doubted(session), *session.by_hand_remarks, *session.losses.sentences()]
    if session.take_out is not None:
        found = [session.take_out(note) for note in found]
    return list(dict.fromkeys(first_upper(note) for note in found))


_NO_READING = "this counts as no reading"
_WARM = "then warm the probe's tip by hand: the reading must rise"
_DOUBTED = {
    trust.STUCK: f"its amplifier repeated one value, digit for digit, as none that measures does: {_NO_READING}. Switch the box off and on, and check the "
    "amplifier's supply and its wires to the board.",
    trust.SHORTED: f"its reading was its amplifier's own temperature, as with a shorted lead: {_NO_READING}. Look for wires that touch, at the plug and "
    f"along the lead, {_WARM}.",
    trust.REVERSED: "its reading fell when the fuel elsewhere became hotter, to far below every other place, as with exchanged wires: "
    f'{_NO_READING}. Exchange the two wires, {_WARM}. If ice or a chiller cools the fuel there, say so (--about fix="ice can"), and it counts.',
}
_COUNTS = "its readings count, and no cause is sought in them"
_SUSPECTED = {
    trust.STUCK: f"its amplifier repeated one value for longer than its noise lets it; {_COUNTS}. Should it go on, switch the box off and on.",
    trust.SHORTED: f"its reading kept to its amplifier's own temperature, as with a shorted lead, or because it is as warm as the box; {_COUNTS}. "
    "Warm the probe's tip by hand: the reading must rise.",
    trust.REVERSED: f"its reading fell when the fuel elsewhere became hotter, as with exchanged wires, or because something cooled it; {_COUNTS}. "
    "Warm the probe's tip by hand: the reading must rise.",
}


def _doubted(session: Session) -> list[str]:
    """Readings that look like temperatures and are none, or may be none, with when."""
    clock = Clock(session.ticks.timeline.anchored, session.metadata.get("utc_offset_min"))
    found = []
    for place, reasons in zip(session.ticks.places, session.ticks.reason.T, strict=True):
        for why in trust.told(reasons):
            at = session.ticks.index[np.flatnonzero(reasons == why)[[0, -1]]]
            found.append(f"{place_words(place)}, {clock.moment(at[0])} to {clock.moment(at[1])}: {_DOUBTED[why]}")
    for one in session.ticks.suspected:
        at = session.ticks.timeline.index(np.array([one.from_s, one.until_s]))
        found.append(f"{place_words(one.place)}, {clock.moment(at[0])} to {clock.moment(at[1])}: {_SUSPECTED[one.why]}")
    return found


def _receivers_time(session: Session) -> list[str]:
    """That a receiver's time of day differs from the times shown. Which of the two is right, no recording can tell."""
    where = session.positions
    if where is None or not session.ticks.timeline.anchored or not abs(where.ahead_s) > RECEIVER_OFF_S:
        return []
    by = length(abs(where.ahead_s))
    ahead, cure = ("ahead of", f"take {by} off them") if where.ahead_s > 0 else ("behind", f"add {by} to them")
    return [
        f"Times shown are by the recording's clock, which was {by} {ahead} the satellite receiver's: {cure} for the receiver's time."
    ]


def _places(session: Session) -> list[str]:
    """Where the places of the car file and those of the board differ."""
    if session.car is None or not session.ticks.places:
        return []
    wanted = [place.name for place in session.car.places]
    seen = session.ticks.places
    missing = [name for name in wanted if name not in seen]
    extra = [name for name in seen if name not in wanted]
    notes = []
    if missing:
        notes.append(f"The car file has {', '.join(missing)}, which the board did not measure.")
    if extra:
        notes.append(f"The board measured {', '.join(extra)}, which is not in the car file: temperatures only.")
    empty = [
        name for name, column in zip(seen, session.ticks.degc.T, strict=True) if len(column) and not np.isfinite(column).any()
    ]
    other = [one for known in session.descriptions.values() for one in frame.contradicted(known, session.car)]
    if other:
        told = ", ".join(
            dict.fromkeys(f"channel {number} {name} (the car file: channel {wanted})" for number, name, wanted in other)
        )
        notes.append(
            f"The board named {told}, and its names count, not the car file's channels. If probes were exchanged, give these places names in the "
            f"session's car file that the board does not use ({other[0][1][:10]}_2): then its channels count."
        )
    if empty:
        notes.append(f"There is no temperature at {', '.join(empty)} in the whole recording.")
    return notes
