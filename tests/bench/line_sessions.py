"""Sessions of the trials' fuel line (line_physics.py) as a study sees them, and the car files for them."""

import numpy as np
from hotfuel import car as car_file
from hotfuel.study.drive.course import Course
from line_physics import LENGTH_S, STOP

ROLES = {
    "tank": "tank", "suction": "suction", "pump": "pump", "pump_out": "line", "carb_inlet": "carburettor", "bowl": "bowl", "bonnet": "air", "block": "other",
    "manifold": "other",
}  # fmt: skip
PROBE = 'probe = { mount = "axial", sheath = "1.6 mm", lag = "1.5 s", tolerance = "E230 special" }\n'


def car(places, *, tank_l=None, return_l_h=0.0, volumes=None, text=None, displacement=True):
    """The car file of a trial's car."""
    head = (text or car_file.EXAMPLE)[: car_file.EXAMPLE.index("[[place]]")].replace('altitude = "600 m"', 'altitude = "300 m"')
    head = head.replace('units = "us"', 'units = "si"').replace('volume = "60 L"', f'volume = "{tank_l or 60:.1f} L"')
    if return_l_h:
        head = head.replace('# return_flow = "20 L/h"', f'return_flow = "{return_l_h:.1f} L/h"').replace(
            'full_flow = "75 L/h"', 'full_flow = "150 L/h"'
        )
    if not displacement:
        head = head.replace('displacement = "5.0 L"\n', "")
    for number, place in enumerate(places):
        head += f'[[place]]\nname = "{place}"\nchannel = {number}\nrole = "{ROLES[place]}"\n{PROBE}'
        if volumes and place in volumes:
            head += f'volume_from_previous = "{volumes[place]:.3f} L"\n'
    return car_file.load(head)


def course(runs, read, k, own_car, air_known=True):
    """The k-th car's drive."""
    kept = runs.kept
    blank = np.full(LENGTH_S, np.nan)
    running = (kept["kind"][:, k] != STOP).astype(float)
    inputs = {
        "engine_rpm": kept["rpm"][:, k], "fuel_pressure_kpa": kept["gauge_kpa"][:, k], "ignition": running, "ambient_pressure_kpa": blank, "running": running,
    }  # fmt: skip
    degc = {p.name: read[p.name][:, k] for p in own_car.places}
    air = float(runs.cars["air"][k]) if air_known else np.nan
    return Course(f"car {k}", np.arange(LENGTH_S) * 1.0, degc, {}, inputs, (), 0.0, own_car, air)
