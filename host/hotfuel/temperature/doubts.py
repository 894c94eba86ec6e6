"""Doubts about a calibration, reported on every page that uses it; the calibration is still applied."""

import datetime

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.temperature.accuracy import tolerance_degc
from hotfuel.temperature.calibration import Calibration
from hotfuel.units import Shown

_AT_DEGC = (0.0, 60.0, 100.0)  # ice, hot fuel, boiling water


def doubts(
    calibration: Calibration, car: Car | None, today: datetime.date | None = None, shown: Shown | None = None
) -> list[str]:
    """One sentence for each channel whose line is dated in the future, or corrects by more than its probe's tolerance class allows.

    car: without it the class is unknown. today: default the latest date in any time zone. shown: the reader's units, SI if not given.
    """
    latest = today or (datetime.datetime.now(datetime.UTC) + datetime.timedelta(hours=14)).date()
    probes = {place.name: place.probe for place in car.places} if car is not None else {}
    said = []
    for number, line in sorted(calibration.channels.items()):
        which = place_words(line.place) or f"channel {number}"
        if line.made_on > latest:
            said.append(
                f"The calibration of {which} is dated {line.made_on}, in the future: was the clock wrong when it was made?"
            )
        if line.place not in probes:
            continue
        grade = probes[line.place].tolerance
        worst = (0.0, 0.0, 0.0)
        for at_degc in _AT_DEGC:
            try:
                allowed_degc = tolerance_degc(grade, at_degc)[0]
            except InputError:
                continue
            by_degc = line.gain * at_degc + line.offset_degc - at_degc
            worst = max(worst, (abs(by_degc) - allowed_degc, by_degc, at_degc))
        over_degc, by_degc, at_degc = worst
        if over_degc > 0:
            units = shown or Shown()
            by, allowed = (units.text(degc, "temperature difference") for degc in (by_degc, abs(by_degc) - over_degc))
            said.append(
                f"The calibration of {which} corrects by {'+' if by.value > 0 else ''}{by} at {units.text(at_degc, 'temperature', 0)}, more than its class "
                f"allows ({grade}, {allowed}): look for wrong wire, a damaged probe or a bath that was not what it should be."
            )
    return said
