"""The pressure that vapour holds in a line after the stop, under a change."""

import numpy as np

from hotfuel.car import Car
from hotfuel.fuel import Fuel
from hotfuel.places import HOSES
from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import fired

_DEGC = np.arange(-40.0, 201.0, 2.0)


def held_gauge_kpa(
    course: Course, car: Car, fuels: tuple[Fuel, Fuel], degc: dict[str, np.ndarray], air_kpa: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Gauge pressure of the line after the change, (n,): the recorded one; while standing, that held by the changed fuel's vapour.

    After the stop, fuel boiling in the line holds a share of its vapour pressure above the air's; the recording shows that share, and it is
    kept. degc: temperatures after the change; fuels and air_kpa: before and after it. nan where no line pressure was measured.
    """
    gauge = course.inputs["fuel_pressure_kpa"]
    hot = [p.name for p in car.places if p.role in HOSES and p.name in degc]
    if not hot or not np.isfinite(gauge).any():
        return gauge
    over = [
        np.interp(np.max([temperatures[p] for p in hot], axis=0), _DEGC, fuel.true_vapour_pressure_kpa(_DEGC)) - air
        for fuel, temperatures, air in ((fuels[0], course.degc, air_kpa[0]), (fuels[1], degc, air_kpa[1]))
    ]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(~fired(course) & (gauge > 0) & (over[0] > gauge), gauge / over[0], 0.0)
    changed: np.ndarray = np.maximum(gauge + np.nan_to_num(share * (over[1] - over[0])), np.minimum(gauge, 0.0))
    return changed
