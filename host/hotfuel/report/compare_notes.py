"""What a reader must know beside the answers of a comparison, in sentences and the reader's units."""

from hotfuel.places import place_words
from hotfuel.report import compare_probes, day_words, words
from hotfuel.study.fixes import lacking
from hotfuel.study.fixes import notes as n
from hotfuel.study.fixes import probe_notes as p
from hotfuel.study.fixes.difference import SLOPE, SLOPE_U
from hotfuel.study.fixes.faults import CUT, DEAD, NO_LAP, PARKED, Fault
from hotfuel.study.fixes.summaries import MARGIN, WHOLE_RUN, Cell, Filled
from hotfuel.text import Size, between, directed, is_nothing, listed, than
from hotfuel.units import Shown, expanded

_NOTE_AIR = "note it with the session"  # how to type it is for the command line to say: this is printed on paper too


def note(one: n.Note, shown: Shown, plain: bool = False) -> str:
    """One sentence; "" for a difference that is not visible in what is printed. plain: as in `words.quantity`."""
    if isinstance(
        one,
        n.FromSession | n.PlacesLeftOut | n.NoCarFile | n.AnotherFuel | n.PressureApart | n.CountedToTheDayBefore | n.SameTime,
    ):
        return _recordings(one, shown)
    if isinstance(one, n.FixNotNamed | n.ComparedWith):
        return _fixes(one)
    if isinstance(one, n.AirNotNoted | n.AirGuessed | n.AirNotKnown | n.AirDiffered | n.AirPressureDiffered):
        return _air(one, shown)
    if isinstance(one, n.WholeRunsCompared | n.OneStopCompared | n.StopsShortened | n.LapsNotSeen | n.LengthsDiffered):
        return _lengths(one, plain)
    if isinstance(one, n.StartsDiffered | n.TankDiffered | n.FuelsDiffered):
        return _starts(one, shown)
    if isinstance(one, p.ProbeNote):
        return compare_probes.note(one, shown)
    if isinstance(one, n.RunsApart):
        return day_words.apart(one.apart, one.spread_degc, shown)
    return _order(one, shown)


def _recordings(
    one: n.FromSession | n.PlacesLeftOut | n.NoCarFile | n.AnotherFuel | n.PressureApart | n.CountedToTheDayBefore | n.SameTime,
    shown: Shown,
) -> str:
    match one:
        case n.FromSession(air):
            if air.place:
                return f"Outside air is the probe at {air.place}."
            return "Outside air was not stated: it is taken as the fuel's temperature at the cold start."
        case n.PlacesLeftOut(places):
            return f"Not every session measured {', '.join(places)}: left out of the comparison."
        case n.NoCarFile():
            return "No session has a car file: temperatures are compared, margins are not known."
        case n.AnotherFuel(sessions, baseline):
            return f"{', '.join(sessions)} ran on another fuel than {baseline}: all limits are those of the fuel in {baseline}."
        case n.PressureApart(apart_kpa, used_kpa, baseline):
            return (
                f"Air pressure differed by {shown.text(apart_kpa, 'pressure')} between sessions: "
                f"all limits are for the {shown.text(used_kpa, 'pressure')} of {baseline}."
            )
        case n.CountedToTheDayBefore(sessions, local):
            zone = "by local time" if local else "by UTC, no local time being noted"
            return f"{', '.join(sessions)} began after midnight and before 4:00 ({zone}): counted to the day before, on which that evening began."
        case n.SameTime(runs):
            return (
                f"{listed(runs)} say they were driven at the same time, which one car cannot: were two boards recording one drive, or is a clock wrong? "
                f"{'Both' if len(runs) == 2 else 'All'} count until you leave one out."
            )


def _fixes(one: n.FixNotNamed | n.ComparedWith) -> str:
    match one:
        case n.FixNotNamed(variants):
            return f"What was fitted with {', '.join(variants)} is not stated: say what it is and which place lies behind it, as in cooler before carb_inlet."
        case n.ComparedWith(variant):
            return f"Compared with {variant}, the only side of which no fix is known."


def _air(one: n.AirNotNoted | n.AirGuessed | n.AirNotKnown | n.AirDiffered | n.AirPressureDiffered, shown: Shown) -> str:
    match one:
        case n.AirNotNoted(sessions):
            return (
                f"Outside air was not noted for {', '.join(sessions)}, and the fuel of a car that had been driven before on that day does not show it: "
                f"{_NOTE_AIR}."
            )
        case n.AirGuessed(uncertainty_degc):
            return (
                f"Where outside air was taken from the fuel, the interval allows for {shown.text(uncertainty_degc, 'temperature difference')} (standard) "
                f"a side: {_NOTE_AIR}."
            )
        case n.AirNotKnown(first, second):
            return (
                f"The outside temperature is not known for {first} and {second}: temperatures are compared as read, "
                "and a hotter day would look like the change."
            )
        case n.AirDiffered(first, second, first_degc, second_degc):
            read = as_read(one.as_read, shown)
            if not (one.large or read):
                return ""
            told = f"; as read it was {read} with {second}" if read else ""
            return (
                f"It was {shown.text(first_degc, 'temperature')} outside with {first} and {shown.text(second_degc, 'temperature')} with {second}: "
                f"temperatures are corrected to the same air by {SLOPE:g} of the difference, an assumption (±{expanded(SLOPE_U):.1f}, in the interval){told}."
            )
        case n.AirPressureDiffered(first, second, first_kpa, second_kpa):
            return (
                f"Air pressure was {shown.text(first_kpa, 'pressure')} with {first} and {shown.text(second_kpa, 'pressure')} with {second}: "
                "limits are worked out for one common pressure, but the engine itself ran differently."
            )


def as_read(one: n.AsRead | None, shown: Shown) -> str:
    """What it was as read, "2.0 °F cooler"; "" where bringing both sides to one outside air did not change what is printed."""
    if one is None:
        return ""

    def size(degc: float) -> Size:
        return shown.no_finer(abs(degc), "temperature difference", one.half_degc)

    if is_nothing(size(one.moved_degc)):
        return ""
    return directed(size(one.difference_degc), sense_of(one.cell, one.difference_degc), "the same")


def _lengths(
    one: n.WholeRunsCompared | n.OneStopCompared | n.StopsShortened | n.LapsNotSeen | n.LengthsDiffered, plain: bool
) -> str:
    match one:
        case n.WholeRunsCompared():
            return "Phases can only be guessed from the temperatures of at least one session, so whole runs are compared."
        case n.OneStopCompared(sessions, until_restart):
            return (
                f"Of the stops in {_first_three(sessions)} one is compared, the first of full length, with the restart after it"
                f"{'; of every run only what came up to and including that restart' if until_restart else ''}."
            )
        case n.StopsShortened(shortest_s, longest_s):
            return (
                f"Stops lasted {shortest_s / 60:.1f} to {longest_s / 60:.1f} min: the first {shortest_s / 60:.1f} min of each are compared, and a restart "
                "after a longer stop is a hotter one."
            )
        case n.LapsNotSeen(session, first, last):
            return (
                f"Laps {first} {'and' if last == first + 1 else 'to'} {last} of {session} are not counted: no position was received where the line "
                "lies between them."
            )
        case n.LengthsDiffered(first, second, first_s, second_s, phase) if phase:
            return (
                f"The {words.phase(phase, plain)} lasted {first_s / 60:.1f} min with {first} and {second_s / 60:.1f} min with {second}: "
                "the longer one has more chance of an extreme."
            )
        case n.LengthsDiffered(first, second, first_s, second_s):
            return f"Runs lasted {first_s / 60:.0f} min with {first} and {second_s / 60:.0f} min with {second}: a longer run has more chance of an extreme."


def _starts(one: n.StartsDiffered | n.TankDiffered | n.FuelsDiffered, shown: Shown) -> str:
    match one:
        case n.StartsDiffered(first, second, first_degc, second_degc, warmer, place, probe_degc):
            why = f"those with {warmer} began heat-soaked, which can look like the change."
            if place:
                size = shown.text(abs(probe_degc), "temperature difference")
                why = f"the probe at the {place_words(place)} disagreed with the others by {size} while all were cold, which can be the reason for it."
            return f"Runs started at {shown.text(first_degc, 'temperature')} with {first} and {shown.text(second_degc, 'temperature')} with {second}: {why}"
        case n.TankDiffered(warmer, by_degc, over_air):
            return (
                f"{'Against outside air the' if over_air else 'The'} fuel in the tank was {shown.text(by_degc, 'temperature difference')} warmer as the runs "
                f"with {warmer} began: none to all of that may still be in what was measured, which the interval allows for."
            )
        case n.FuelsDiffered(first, second, first_fuels, second_fuels):
            named = [" and ".join(sorted(filled(fuel, shown) for fuel in fuels)) for fuels in (first_fuels, second_fuels)]
            return f"The fuel was {named[0]} with {first}, {named[1]} with {second}: limits are worked out for one common fuel."


def filled(fuel: Filled | None, shown: Shown) -> str:
    """The fuel in the tank: "class A, 10 % ethanol"; "" where it is not known."""
    if fuel is None:
        return ""
    if fuel.blend is not None:
        return f"a blend of {fuel.blend}"
    named = (
        f"class {fuel.class_}"
        if fuel.class_ is not None
        else f"fuel of {shown.text(fuel.vapour_pressure_kpa or 0.0, 'pressure')} vapour pressure"
    )
    return named + (f", {fuel.ethanol_vol:g} % ethanol" if fuel.ethanol_vol else "")


def _order(
    one: n.OneDayASide | n.DaysCountOnce | n.OrderUnknown | n.OneAfterTheOther | n.FirstEveryDay | n.WidenedByPairs, shown: Shown
) -> str:
    match one:
        case n.OneDayASide(lone, other, uncertainty_degc):
            return (
                f"All runs with {lone} are of one day, and none with {other} is of that day: more runs like these cannot tell the day from the change. The "
                f"interval allows for {shown.text(uncertainty_degc, 'temperature difference')} (standard) between days, an assumption; record both sides on "
                "the same days, or each on two days or more."
            )
        case n.DaysCountOnce(first, second, first_days, second_days):
            return f"Runs of one day share its weather and fuel, so each day counts once: {first_days} with {first}, {second_days} with {second}."
        case n.OrderUnknown(first, second):
            return f"The order of the runs of {first} and {second} is not known, so a drift between them cannot be told from the change."
        case n.OneAfterTheOther(early, late, drift_removed):
            removed = " (a steady drift over the day is taken out, which widens the interval)" if drift_removed else ""
            return (
                f"All runs with {early} came before all with {late}: warming, weather and whatever else drifted are mixed up with the change{removed}; "
                "drive the runs in a mixed order to rule that out."
            )
        case n.FirstEveryDay(variant, with_both):
            every = "every day with both" if with_both else "every day"
            return f"On {every} {variant} was driven first: a car still warm from the run before looks like the change; alternate which one goes first."
        case n.WidenedByPairs(first, second):
            return (
                f"{first} and {second} were driven in an order that makes warming look like a change: the interval is widened by what this car's archived "
                "pairs of runs with the same parts fitted differ by."
            )


def fault(run: str, one: Fault) -> str:
    """Which run, what was seen, and what that means for the answers."""
    where = listed([place_words(place) for place in one.places])
    if one.kind == PARKED:
        return f"{run} was never driven, and the other runs were: it is left out of every answer."
    if one.kind == DEAD:
        when = f"its {listed(one.phases)}" if one.phases else "itself"
        return f"{run} did not read {where} all through {when}: it is left out of every answer there."
    if one.kind == NO_LAP:
        return (
            f"{run} holds no single lap: each of its laps took as long as two or more of the other runs', as where a mark was left out. "
            "It is left out of every answer on the lap."
        )
    if one.kind == CUT:
        return (
            f"{run} was broken off before its {listed(one.phases)} {'was' if len(one.phases) == 1 else 'were'} whole: "
            "it is left out of every answer there. If the engine died, mark it: that is a result."
        )
    return (
        f"{run} reads its {where} the other way round than every other run{' of its side' if one.own_side else ''}: were the probes swapped? "
        "It is left out of every answer there."
    )


def bad_run(one: lacking.BadRun, shown: Shown) -> str:
    """A run that was left out, or what the first question would be without some: beside the answer, and no verdict."""
    if isinstance(one, lacking.LeftOut):
        return fault(one.run, one.fault)

    def size(degc: float) -> Size:
        return _size(degc, shown)

    def sense(degc: float) -> str:
        return sense_of(one.cell, degc)

    single = len(one.runs) == 1
    which = " and ".join(one.runs[:3]) + (f" and {len(one.runs) - 3} more" if len(one.runs) > 3 else "")
    why = f"{'has' if single else 'have'} no number for it"
    if one.outlying:
        why = f"{'lies' if single else 'lie'} apart from the other runs of the side and {'stays' if single else 'stay'} in"
    moved_by = than(size(one.difference_degc), sense(one.difference_degc))
    return (
        f"{which} {why}: without {'it' if single else 'them'} {one.variant} would be {moved_by} {one.baseline} "
        f"at the {place_words(one.cell.place)} ({one.cell.phase}), {between(one.low_degc, one.high_degc, size, sense)}; that is no verdict, because "
        "what a run shows must not decide whether it counts."
    )


def unanswered(one: lacking.Unanswered, plain: bool = False) -> str:
    """No answer to a question that the runs do not hold, and what to drive; the question is never changed silently."""
    phase = words.phase(one.cell.phase, plain)
    remedy = f"Drive a {phase} in every run, or name another phase."
    if set(one.held) == {WHOLE_RUN}:
        remedy = f"These recordings cannot be divided into phases without engine speed or ignition: connect one of them, or ask about the {WHOLE_RUN}."
    elif one.cell.phase == WHOLE_RUN:
        remedy = "Whole runs are compared only where recordings cannot be divided into phases: name a phase."
    return (
        f"{no_verdict(one)}: it was asked of the {phase}, and {_first_three(one.without)} "
        f"{'has' if len(one.without) == 1 else 'have'} no reading there. {remedy}"
    )


def no_verdict(one: lacking.Unanswered) -> str:
    """The same as a headline, without its reason and without a full stop."""
    return f"No verdict on what {listed(one.variants)} did at the {place_words(one.cell.place)}"


def sense_of(cell: Cell, degc: float) -> str:
    """The direction of a difference of that cell, for example "cooler"."""
    better, worse = ("further from boiling", "nearer to boiling") if cell.quantity == MARGIN else ("cooler", "hotter")
    return better if degc * cell.better > 0 else worse


def _first_three(names: tuple[str, ...]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _size(degc: float, shown: Shown) -> Size:
    return shown.text(abs(degc), "temperature difference")
