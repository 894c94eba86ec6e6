"""The car file: places and probes, pressures, pump, fuel. TOML in, SI inside; every quantity is written with its unit."""

from hotfuel.car.file import (
    CLAMP_LAG_S,
    EXAMPLE,
    PLACE_NAME,
    Car,
    Carburettor,
    Engine,
    Place,
    Probe,
    Pump,
    Sensors,
    Suction,
    Tank,
    load,
)
from hotfuel.car.fuel_table import FuelTable
from hotfuel.car.mistakes import units_of
from hotfuel.car.quantities import ALTITUDES

__all__ = [
    "ALTITUDES",
    "CLAMP_LAG_S",
    "EXAMPLE",
    "PLACE_NAME",
    "Car",
    "Carburettor",
    "Engine",
    "FuelTable",
    "Place",
    "Probe",
    "Pump",
    "Sensors",
    "Suction",
    "Tank",
    "load",
    "units_of",
]
