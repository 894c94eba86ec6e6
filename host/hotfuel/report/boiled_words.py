"""Every place that was beyond its boiling limit, in the order in which an owner should treat them, and the words for it.

A car that boils while it is driven can stop on the road; one that boils while parked only starts badly. So driving comes first, however far beyond its
limit another place went while parked.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from hotfuel.places import is_behind_needle, place_words, probe_of
from hotfuel.report.words import spoken, where
from hotfuel.risk.level import is_beyond
from hotfuel.session.summary import PlaceSummary, Summary
from hotfuel.study.drive.phases import COLD_START, DRIVE, IDLE, LAP, PULL, RESTART, SOAK, STANDING, Phase, PlacePhase
from hotfuel.text import first_upper, listed
from hotfuel.units import Shown, expanded

_WHEN = {
    SOAK: "while you were parked",
    DRIVE: "while driving",
    LAP: "on the track",
    PULL: "at full throttle",
    IDLE: "while the engine idled",
    RESTART: "after the restart",
    COLD_START: "while the engine warmed up",
    STANDING: "before the start",
}
_DRIVING = (DRIVE, LAP, PULL)
_DRIVING_S = 60.0  # so long surely beyond the limit while driving weighs more than any parking
_MOST = 0.8  # of the time beyond the limit, for one thing the car did to stand for it
_HALF, _SOME = 0.5, 0.2
_MUCH_LONGER = (
    1.25  # of the time certainly beyond the limit: a time that is shorter than the one beyond it by that much is a least time
)
_NOT_HEATED_DEGC = 40.0  # fuel that begins cooler than this was heated by no engine: common practice, no source


@dataclass(frozen=True)
class Beyond:
    """A place that was beyond its limit. surely: by more than its doubt, which alone is boiling. phases: those in which it was beyond, driving_s of them
    surely and while driving. unseen: only at the air's pressure and with the engine stopped, where its line may have held more."""

    place: PlaceSummary
    surely: bool
    driving_s: float
    phases: tuple[Phase, ...]
    unseen: bool = False

    @property
    def name(self) -> str:
        """The place's."""
        return self.place.place

    @property
    def to_treat(self) -> list[str]:
        """The kinds of phases that call for a change: driving if it boiled then, and what the car did for most of the time."""
        most = max(self.phases, key=lambda one: one.places[self.name].act_s, default=None)
        kind = DRIVE if most is None else SOAK if most.kind in (SOAK, RESTART) else IDLE if most.kind == IDLE else DRIVE
        return [DRIVE, kind] if self.driving_s and kind != DRIVE else [kind]


def places_beyond(summary: Summary, phases: Sequence[Phase], held_unseen: Collection[str] = ()) -> list[Beyond]:
    """Every place beyond its limit, one for each probe, what surely boiled first, and of that what boiled while driving. Behind a needle only what the
    inlet before it does not say. held_unseen: places whose line may have held its pressure after a stop (`study.story.Story`)."""
    near = summary.smallest
    if near is None:
        return []
    known = {**summary.places, near.place: near}
    found: dict[str, Beyond] = {}
    for one in sorted(known.values(), key=lambda one: is_behind_needle(one.place)):
        margin = one.smallest_margin_degc
        at_zero = one is near and margin == 0  # reached, though not beyond
        if not margin >= near.smallest_margin_degc or not (is_beyond(margin) or at_zero):
            continue
        during = tuple(phase for phase in phases if one.place in phase.places and phase.places[one.place].act_s > 0)
        unseen = one.place in held_unseen and bool(during) and all(phase.kind in (SOAK, STANDING) for phase in during)
        surely = not unseen and bool(margin <= -expanded(one.uncertainty_degc))
        told = Beyond(one, surely, _driving_s(one.place, during), during, unseen)
        before = found.get(probe_of(one.place))
        if before is None or (told.surely, told.driving_s > 0) > (before.surely, before.driving_s > 0):
            found[probe_of(one.place)] = told
    return sorted(found.values(), key=lambda one: (not one.surely, -one.driving_s, one.place.smallest_margin_degc))


def _driving_s(name: str, during: Sequence[Phase]) -> float:
    """Seconds beyond the limit in the phases of driving that surely had it; 0 for less than `_DRIVING_S`."""
    seconds = sum(one.places[name].act_s for one in during if one.kind in _DRIVING and _surely(one.places[name]))
    return seconds if seconds >= _DRIVING_S else 0.0


def _surely(there: PlacePhase) -> bool:
    return there.no_limit_s > 0 or bool(there.smallest_margin_degc <= -expanded(there.uncertainty_degc))


def when_nearest(phases: Sequence[Phase], at_s: float) -> str:
    """What the car did then, with a blank before it; "" where it is not known."""
    found = next((one for one in phases if one.start_s <= at_s < one.end_s), None)
    return f" {_WHEN[found.kind]}" if found is not None and found.kind in _WHEN else ""


def boiled(beyond: Sequence[Beyond]) -> str:
    """The first sentence: each place that boiled with how long and when, then where it may have."""
    sure, maybe = ([one for one in beyond if one.surely is surely] for surely in (True, False))
    said = [f"{where(one.name)}{_how_long(one)}" for one in sure]
    told = said[0] if len(said) == 1 else f"{', '.join(said[:-1])}, and {said[-1]}"
    may = f", and may have boiled {listed([where(one.name) for one in maybe])}" if maybe else ""
    return f"The fuel boiled {told}{may}."


def reached(beyond: Sequence[Beyond], nearest: str, when: str) -> str:
    """The first sentence where no place was beyond its limit by more than its doubt, or none of which that can be told."""
    if len(beyond) == 1 and (during := _during(beyond[0])):
        when = f" {max(during, key=lambda doing: during[doing])}"
    elif len(beyond) > 1:
        when = ""
    places = listed([where(one.name) for one in beyond]) or where(nearest)
    if any(one.unseen for one in beyond):
        passed = first_upper(f"{when} the fuel {places} passed its boiling limit at the air's pressure".strip())
        return f"{passed}; whether it boiled depends on the pressure that the line held, which nothing measured."
    return first_upper(f"{when} the fuel {places} reached its boiling limit, within the uncertainty.".strip())


def _during(one: Beyond) -> dict[str, float]:
    """Seconds beyond the limit by what the car did."""
    seconds: dict[str, float] = {}
    for phase in one.phases:
        if phase.kind in _WHEN:
            seconds[_WHEN[phase.kind]] = seconds.get(_WHEN[phase.kind], 0.0) + phase.places[one.name].act_s
    return seconds


def _how_long(one: Beyond) -> str:
    """Only what lies beyond the limit by more than the doubt counts as boiling: "at least" where that is much less than what lies beyond it at all."""
    near, during = one.place, _during(one)
    least = "at least " if near.beyond_limit_s > _MUCH_LONGER * near.beyond_doubt_s else ""
    lasted = f" for {least}{spoken(near.beyond_doubt_s)}" if near.beyond_doubt_s > 0 else ""
    if not during:
        return lasted
    most = max(during, key=lambda doing: during[doing])
    if not lasted or during[most] >= _MOST * near.beyond_limit_s:
        return f"{lasted} {most}"
    driven = f", some {_WHEN[DRIVE]}" if one.driving_s and most not in [_WHEN[kind] for kind in _DRIVING] else ""
    if during[most] >= _HALF * near.beyond_limit_s:
        return f"{lasted} in all, most of it {most}{driven}"
    parts = [doing for doing, seconds in during.items() if seconds >= _SOME * near.beyond_limit_s] or [most]
    return f"{lasted} in all, {'part of it ' if len(parts) == 1 else ''}{listed(sorted(parts, key=lambda doing: -during[doing]))}"


def steps(beyond: Sequence[Beyond], shown: Shown) -> list[str]:
    """What to do about each of these places, one sentence for those that need the same."""
    done: dict[str, list[str]] = {}
    for one in beyond:
        for kind in one.to_treat:
            done.setdefault(kind, []).append(place_words(probe_of(one.name)))
    said = [_of_the_fuel(one, shown) for one in beyond]
    for kind, names in done.items():
        places, them = listed([f"the {name}" for name in names]), "it" if len(names) == 1 else "them"
        if kind == SOAK:
            said.append(f"Keep the heat of the stopped engine away from {places}: distance, a shield, moving air.")
        elif kind == IDLE:
            said.append(f"Let more fuel flow past {places} at idle (a return to the tank), or keep heat away from {them}.")
        else:
            said.append(
                f"Find where the fuel takes up its heat before {places}; shield or move the line there, or raise the pressure in it."
            )
    return [*filter(None, dict.fromkeys(said))]


def _of_the_fuel(one: Beyond, shown: Shown) -> str:
    """Fuel that boils before an engine has heated it is the wrong fuel for the day; "" for any other."""
    for phase in one.phases:
        there = phase.places[one.name]
        cool = there.start_degc <= _NOT_HEATED_DEGC
        if phase.kind == COLD_START and cool and there.act_s >= _DRIVING_S and _surely(there):
            began = shown.text(there.start_degc, "temperature", 0)
            place = place_words(probe_of(one.name))
            return f"The {place} was beyond its limit at the start already, with fuel at {began}: try a fuel of lower vapour pressure first."
    return ""
