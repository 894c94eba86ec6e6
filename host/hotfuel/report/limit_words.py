"""The car's own limit, as its marks of trouble move it, in the reader's units."""

from hotfuel.study.drive.own_limit import OwnLimit
from hotfuel.units import Shown


def own_limit(found: OwnLimit, shown: Shown) -> str:
    """One sentence: from how many events, where the limit lies against the criterion's, and its 90 % interval."""
    if not found.troubles + found.ran_through:
        return "No event of this car is marked: its limit is the criterion's."
    dimension = "temperature difference"
    direction = "above" if found.shift_degc > 0 else "below"
    below, above = (f"{shown.value(end, dimension):+.1f}" for end in (found.low_degc, found.high_degc))
    return (
        f"From {found.troubles} event{'s' if found.troubles != 1 else ''} with trouble and {found.ran_through} without, this car's limit lies "
        f"{shown.text(abs(found.shift_degc), dimension)} {direction} the criterion's ({below} to {above} {shown.unit(dimension)})."
    )
