"""The laps of a recording in words, in the reader's units."""

import numpy as np

from hotfuel.places import at_place, place_words
from hotfuel.risk.level import is_beyond
from hotfuel.study.drive.crossings import Basis
from hotfuel.study.drive.laps import Lap, Laps
from hotfuel.text import counted
from hotfuel.units import Shown, expanded

BASIS = {
    Basis.MARKS: "by marks",
    Basis.GIVEN: "by the line as given",
    Basis.BY_MARK: "by the line by the mark",
    Basis.OWN: "by the line where the path crosses itself",
}


def as_dict(found: Laps, with_positions: bool = False) -> dict[str, object]:
    """Plain fields for JSON, with what the laps are counted by in words. with_positions: the line too, which tells where the car was."""
    return found.as_dict(with_positions) | {"basis": BASIS[found.basis]}


def sentences(found: Laps, shown: Shown) -> list[str]:
    """What a racer reads first: how many laps, the quickest, the smallest margin, and the sector that costs most margin."""
    whole = [lap for lap in found.laps if not lap.note]
    count = f"{counted(sum(lap.count for lap in found.laps), 'lap')}, {BASIS[found.basis]}"
    said = [f"{count}."]
    if whole:
        best = min(whole, key=lambda lap: lap.time_s)
        doubt = f"±{expanded(best.time_u_s):.1f} s, 95 %"
        said = [f"{count}; the quickest is lap {best.number}, {lap_time(best, found.period_s)} ({doubt})."]
        nearest = min(whole, key=lambda lap: lap.margin_degc if np.isfinite(lap.margin_degc) else np.inf)
        if np.isfinite(nearest.margin_degc):
            size = shown.text(abs(nearest.margin_degc), "temperature difference")
            left = "past" if is_beyond(nearest.margin_degc) else "left"
            where = f", {shown.text(nearest.margin_at_m, 'length')} past the line" if np.isfinite(nearest.margin_at_m) else ""
            said.append(
                f"The smallest margin, {size} {left} {at_place(nearest.margin_place)}, is on lap {nearest.number}{where}."
            )
    worst = found.costliest()
    if worst is not None:
        loss, low, high = (
            shown.text(degc, "temperature difference") for degc in (worst.loss_degc, worst.low_degc, worst.high_degc)
        )
        said.append(
            f"From {shown.text(worst.from_m, 'length')} to {shown.text(worst.to_m, 'length')} past the line the {place_words(found.place)} loses "
            f"{loss} of margin a lap ({low} to {high}, 95 %, {len(whole)} laps), more than in any other sector; fuel takes time to reach the probe, so "
            "what heats it may be further back on the lap."
        )
    elif found.sectors:
        said.append("No sector of the lap costs so much margin that these laps would show it.")
    said += [
        f"Laps {numbers(lap)} have one time: no position was received where the line lies between them, and together they took as long as "
        f"{lap.count} laps."
        for lap in found.laps
        if lap.count > 1
    ]
    return [*said, *found.notes]


def numbers(lap: Lap) -> str:
    """ "4"; "4 and 5" or "4 to 6" for laps whose crossings between were not seen."""
    last = lap.number + lap.count - 1
    return str(lap.number) if lap.count == 1 else f"{lap.number} {'and' if lap.count == 2 else 'to'} {last}"


def note(lap: Lap) -> str:
    """Why it is no whole lap, or not one; "" for a whole one."""
    return lap.note if lap.count == 1 else f"{lap.note}, {lap.count} laps by the time"


def lap_time(lap: Lap, period_s: float) -> str:
    """ "1:23.4", no finer than its uncertainty and the receiver's period (nan: by hand) allow."""
    decimals = 0 if lap.time_u_s >= 0.5 else 2 if lap.time_u_s < 0.05 and period_s < 0.25 else 1
    whole = round(lap.time_s, decimals)
    minutes = int(whole // 60)
    return f"{minutes}:{whole - 60 * minutes:0{3 + decimals if decimals else 2}.{decimals}f}"
