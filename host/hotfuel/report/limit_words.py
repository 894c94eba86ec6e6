"""The car's own limit, as its marks of trouble move it, in the reader's units."""

from hotfuel.study.drive.own_limit import OwnLimit
from hotfuel.text import Size, between, counted, is_nothing
from hotfuel.units import Shown


def own_limit(found: OwnLimit, shown: Shown) -> str:
    """One sentence: from how many events, where the limit lies against the criterion's, and its 95 % interval."""
    if not found.troubles + found.ran_through:
        return "No event of this car is marked: its limit is the criterion's."
    events = f"{counted(found.troubles, 'event')} with trouble and {found.ran_through} without"
    if not found.tells:
        return f"{events} say nothing yet of this car's own limit."

    def size(degc: float) -> Size:
        return shown.no_finer(abs(degc), "temperature difference", (found.high_degc - found.low_degc) / 2)

    def side(degc: float) -> str:
        return "above" if degc > 0 else "below"

    shift = size(found.shift_degc)
    lies = "is the criterion's" if is_nothing(shift) else f"lies {shift} {side(found.shift_degc)} the criterion's"
    return f"From {events}, this car's limit {lies} ({between(found.low_degc, found.high_degc, size, side)})."
