"""Probes that may not have read the fuel in a run, as `hotfuel.temperature.trust` suspects of a recording: their readings count, and are told of."""

from collections.abc import Sequence

from hotfuel.session.summary import SILENT_S
from hotfuel.study.drive.course import first_second
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.notes import Note
from hotfuel.study.fixes.probe_notes import PerhapsNotRead


def perhaps_not_read(stretches: Sequence[Stretch], places: Sequence[str]) -> list[Note]:
    """A note for each variant, place and reason, with the runs in which that lasted longer than a moment."""
    found: dict[tuple[str, str, int], list[str]] = {}
    for one in stretches:
        began = first_second(one.session)
        first_s, last_s = began + float(one.course.time_s[0]), began + float(one.course.time_s[-1])
        lasted: dict[tuple[str, int], float] = {}
        for doubt in one.session.ticks.suspected:
            inside_s = min(doubt.until_s, last_s) - max(doubt.from_s, first_s)
            lasted[doubt.place, doubt.why] = lasted.get((doubt.place, doubt.why), 0.0) + max(inside_s, 0.0)
        for (place, why), seconds in lasted.items():
            if place in places and seconds > SILENT_S:
                found.setdefault((one.variant, place, why), []).append(one.course.name)
    return [PerhapsNotRead(tuple(names), variant, place, why) for (variant, place, why), names in found.items()]
