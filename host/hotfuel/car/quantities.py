"""Quantities of the car file: text with a unit in, SI out, with the range allowed for each."""

from functools import partial
from typing import Annotated

from pydantic import BeforeValidator

from hotfuel import units
from hotfuel.errors import InputError


def _quantity(text: object, dimension: str, least: str, greatest: str) -> float:
    if not isinstance(text, str):
        raise InputError(f"a {dimension} is written in quotes with its unit, from {least} to {greatest}")
    value = units.parse(text, dimension)
    if not units.parse(least, dimension) <= value <= units.parse(greatest, dimension):
        raise InputError(f"allowed is {least} to {greatest}")
    return value


def _within(dimension: str, least: str, greatest: str) -> BeforeValidator:
    """A float field that accepts text with a unit and holds the SI value."""
    return BeforeValidator(partial(_quantity, dimension=dimension, least=least, greatest=greatest))


ALTITUDES = "-430 m", "6000 m"  # from the lowest road to above the highest
Altitude = Annotated[float, _within("length", *ALTITUDES)]
Length = Annotated[float, _within("length", "0 m", "20 m")]
Lift = Annotated[float, _within("length", "-3 m", "3 m")]
Small = Annotated[float, _within("length", "0.1 mm", "100 mm")]
Acceleration = Annotated[float, _within("acceleration", "0 g", "6 g")]
AirPressure = Annotated[float, _within("pressure", "45 kPa", "110 kPa")]
Pressure = Annotated[float, _within("pressure", "0 kPa", "700 kPa")]
Depression = Annotated[float, _within("pressure", "0 kPa", "60 kPa")]
TankGauge = Annotated[float, _within("pressure", "-30 kPa", "70 kPa")]
VapourPressure = Annotated[float, _within("pressure", "7 kPa", "130 kPa")]
Volume = Annotated[float, _within("volume", "0 L", "400 L")]
Flow = Annotated[float, _within("volume flow", "0 L/h", "2000 L/h")]
Lag = Annotated[
    float, _within("time", "0 s", "120 s")
]  # a clamp's is 25 s; beyond two minutes a reading says little (common practice, no source)
FuelTemperature = Annotated[float, _within("temperature", "-20 degC", "250 degC")]
Density = Annotated[float, _within("density", "600 kg/m3", "900 kg/m3")]
Percent = Annotated[float, _within("percent", "0 %", "100 %")]
EngineSpeed = Annotated[float, _within("engine speed", "100 rpm", "3000 rpm")]
FullSpeed = Annotated[float, _within("engine speed", "1000 rpm", "20000 rpm")]
Power = Annotated[float, _within("power", "0 kW", "2000 kW")]
