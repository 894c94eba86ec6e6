"""Absolute pressure at each place, which with temperature and fuel decides whether the fuel boils there.

The engine's state is known from engine speed, fuel pressure, ignition or a person's statement; where it is unknown, the lower pressure of the two states
is used as the worst case. Likewise a running engine without a flow measurement counts as at full-throttle flow. All pressures in kPa, absolute unless a
name says gauge.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache, wraps
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.places import Role
from hotfuel.risk.suction import GASOLINE_KG_M3, GAUGE_SHARE, as_array, delivery_kpa, held_column_kpa, suction_kpa
from hotfuel.units import STANDARD_PRESSURE_KPA, Shown
from hotfuel.wired import flow_share

DISAGREEMENT_KPA = 3.0
LOOK_BACK_S = 5.0  # limits use the lowest pressure of the last 5 s
TANK_GAUGE = "tank_gauge_kpa"  # the column that an input named tank_gauge becomes
LOOKED_BACK = ("ambient_pressure_kpa", "fuel_pressure_kpa", TANK_GAUGE)
_WEATHER_KPA = 1.2  # standard deviation of the weather about the standard atmosphere (common practice, no source)
_BAROMETER_KPA = 0.3
_TURNING_RPM = 50.0  # below this the engine stands


def standard_atmosphere_kpa(altitude_m: npt.ArrayLike) -> np.ndarray:
    """Pressure of the standard atmosphere, kPa, for geopotential altitudes in m (any shape, -500 to 11000).

    P = 101.325 (1 - 0.0065 h / 288.15)^5.25588. Source: U.S. Standard Atmosphere 1976 / ISO 2533. Raises InputError outside.
    Example: standard_atmosphere_kpa(1609) -> 83.431.
    """
    altitude = np.asarray(altitude_m, dtype=float)
    if not np.all((altitude >= -500) & (altitude <= 11000)):
        raise InputError(
            f"an altitude of {np.ravel(altitude)[0]:g} m is outside the standard atmosphere: allowed is -500 m to 11000 m"
        )
    return np.asarray(STANDARD_PRESSURE_KPA * (1 - 0.0065 * altitude / 288.15) ** 5.25588)


@dataclass(frozen=True)
class Conditions:
    """Known quantities other than temperatures; each a number, an array (all of one shape) or None, nan where a sample is unknown.

    running: 1 the engine runs, 0 it stands. fuel_pressure_kpa: gauge, behind the pump. tank_gauge_kpa: gauge, in the tank.
    flow_l_h: through the line. acceleration_m_s2: forward; None takes the car file's. time_s: rising; lets limits look back 5 s.
    """

    ambient_pressure_kpa: npt.ArrayLike | None = None
    running: npt.ArrayLike | None = None
    engine_rpm: npt.ArrayLike | None = None
    fuel_pressure_kpa: npt.ArrayLike | None = None
    ignition: npt.ArrayLike | None = None
    flow_l_h: npt.ArrayLike | None = None
    tank_gauge_kpa: npt.ArrayLike | None = None
    acceleration_m_s2: npt.ArrayLike | None = None
    time_s: npt.ArrayLike | None = None


_Answer = TypeVar("_Answer")


def _kept_when_steady(answer: Callable[..., _Answer]) -> Callable[..., _Answer]:
    """Cache the results for conditions that are plain numbers: a live recording needs the same ones for every reading."""
    kept = lru_cache(maxsize=256)(answer)

    @wraps(answer)
    def asked(car: Car, conditions: Conditions, *more: float) -> _Answer:
        steady = all(value is None or isinstance(value, float) for value in vars(conditions).values())
        return (kept if steady else answer)(car, conditions, *more)

    return asked


@dataclass(frozen=True)
class Ambient:
    """Air pressure, its standard uncertainty, its source, and the question to ask the user (None: none)."""

    pressure_kpa: float
    uncertainty_kpa: float
    source: str
    question: str | None = None
    kind: str = "standard atmosphere"  # the source without its altitude


@dataclass(frozen=True)
class PlacePressure:
    """Pressure at one place, kPa absolute, with standard uncertainty; `basis` says how it was found."""

    pressure_kpa: np.ndarray
    uncertainty_kpa: np.ndarray
    basis: str


def ambient(car: Car, shown: Shown | None = None) -> Ambient:
    """Air pressure from the car file: station pressure and altitude, the lower where they are more than 3 kPa apart; sea level without either.

    shown: the units of its words, the car file's if not given.
    """
    return stated_air(car.altitude_m, car.station_pressure_kpa, shown or Shown(car.units))


@lru_cache(maxsize=64)
def stated_air(altitude_m: float | None, station: float | None, shown: Shown) -> Ambient:
    """As `ambient`, of an altitude, m, and a station pressure, kPa."""
    at_altitude = None if altitude_m is None else float(standard_atmosphere_kpa(altitude_m))
    if station is None and at_altitude is None:
        question = "the car file gives neither altitude nor station pressure: sea level is assumed, too high anywhere else. Where will the car drive?"
        return Ambient(STANDARD_PRESSURE_KPA, _WEATHER_KPA, "sea level assumed", question, "sea level assumed")
    if station is None:
        assert altitude_m is not None
        assert at_altitude is not None
        return Ambient(at_altitude, _WEATHER_KPA, f"standard atmosphere at {shown.text(altitude_m, 'length')}")
    if at_altitude is None or abs(station - at_altitude) <= DISAGREEMENT_KPA:
        return Ambient(station, _BAROMETER_KPA, "station pressure", kind="station pressure")
    assert altitude_m is not None
    high = shown.text(altitude_m, "length")
    question = (
        f"the car file gives a station pressure of {shown.text(station, 'pressure')} and an altitude of {high}, where "
        f"{shown.text(at_altitude, 'pressure')} is usual (allowed difference {shown.text(DISAGREEMENT_KPA, 'pressure')}). "
        "Is one of them wrong, or is it the weather report's sea-level value? The lower is used."
    )
    if station < at_altitude:
        return Ambient(station, _WEATHER_KPA, "station pressure", question, "station pressure")
    return Ambient(at_altitude, _WEATHER_KPA, f"standard atmosphere at {high}", question)


@_kept_when_steady
def running_state(car: Car, conditions: Conditions) -> np.ndarray:
    """1 running, 0 standing, nan unknown: as stated, else from engine speed, else ignition off, else fuel pressure.

    The line keeps its pressure for a while after key-off, so ignition off outranks it. An input that is not wired is nan and is ignored.
    """
    state = as_array(conditions.running)
    if conditions.engine_rpm is not None:
        speed = as_array(conditions.engine_rpm)
        state = _first_known(state, np.where(np.isnan(speed), np.nan, (speed >= _TURNING_RPM).astype(float)))
    if conditions.ignition is not None:
        state = _first_known(state, np.where(as_array(conditions.ignition) == 0, 0.0, np.nan))
    if conditions.fuel_pressure_kpa is not None and car.pump.pressure_kpa > 0:
        share = as_array(conditions.fuel_pressure_kpa) / car.pump.pressure_kpa
        state = _first_known(state, np.where(share >= 0.5, 1.0, np.where(share <= 0.2, 0.0, np.nan)))
    return state


def lowest_recent(time_s: npt.ArrayLike, values: npt.ArrayLike, look_back_s: float = LOOK_BACK_S) -> np.ndarray:
    """The lowest of `values` in the last `look_back_s` seconds at each of the rising times; nan samples are skipped.

    time_s (n,), values (n,) or several such rows (k, n); returns the values' shape.
    """
    times, samples = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    if not samples.size:
        return samples.copy()
    here = np.arange(times.size)
    first = np.maximum(np.minimum(np.searchsorted(times, times - look_back_s), here) - 1, 0)
    for _ in range(2):  # at the edge the difference decides, not the rounded beginning: up to one sample off either way
        first += times - times[first] > look_back_s
    windows = np.stack((first, here + 1), axis=1).ravel()  # every second one is a sample's window
    padded = np.concatenate((samples, np.full_like(samples[..., :1], np.nan)), axis=-1)
    return np.fmin.reduceat(padded, windows, axis=-1)[..., ::2]


@_kept_when_steady
def at_places(car: Car, conditions: Conditions, density_kg_m3: float = GASOLINE_KG_M3) -> Mapping[str, PlacePressure]:
    """Absolute pressure at every place with a limit, and at "<name>_needle" for a carburettor inlet.

    Arrays of `conditions` broadcast; a result has the shape of what it depends on. Raises InputError if arrays do not fit together.
    """
    conditions = looked_back(conditions)
    air, air_uncertainty = _air(car, conditions)
    state = running_state(car, conditions)
    result = {}
    for name, (_, role) in car.limit_places.items():
        result[name] = _at_place(car, role, conditions, state, air, air_uncertainty, density_kg_m3)
    return result


def launch_acceleration_m_s2(car: Car) -> float:
    """The launch acceleration, m/s^2: at least that of everyday use."""
    return max(car.suction.launch_acceleration_m_s2, car.suction.acceleration_m_s2)


def air_basis(car: Car, measured_kpa: npt.ArrayLike) -> str:
    """Where the air pressure under all limits comes from: "measured, else standard atmosphere at 600 m". measured_kpa (n,): nan where it was not."""
    known = ~np.isnan(np.asarray(measured_kpa, dtype=float))
    if known.size and known.all():
        return "measured"
    return f"measured, else {ambient(car).source}" if known.any() else ambient(car).source


def _air(car: Car, conditions: Conditions) -> tuple[np.ndarray, np.ndarray]:
    stated = ambient(car)
    measured = as_array(conditions.ambient_pressure_kpa)
    known = ~np.isnan(measured)
    if not known.any():
        return np.asarray(stated.pressure_kpa), np.asarray(stated.uncertainty_kpa)
    if known.all():
        return measured, np.asarray(_BAROMETER_KPA)
    return np.where(known, measured, stated.pressure_kpa), np.where(known, _BAROMETER_KPA, stated.uncertainty_kpa)


def _at_place(
    car: Car,
    role: Role,
    conditions: Conditions,
    state: np.ndarray,
    air: np.ndarray,
    air_uncertainty: np.ndarray,
    density: float,
) -> PlacePressure:
    if role.pressure == "bowl":
        pressure = air - car.carburettor.vent_depression_kpa + np.where(state == 1, car.carburettor.boost_kpa, 0.0)
        return PlacePressure(pressure, air_uncertainty, "bowl: air pressure, vent and boost of the car file")
    tank, tank_basis = _tank(car, conditions, air)
    if role.pressure == "tank" or (role.pressure == "suction" and car.pump.kind == "electric_submerged"):
        return PlacePressure(tank, air_uncertainty, tank_basis)
    flow = as_array(conditions.flow_l_h)
    at_flow = " (at full throttle where no flow is measured)" if np.isnan(flow).any() else ""
    if role.pressure == "suction":
        acceleration: npt.ArrayLike = car.suction.acceleration_m_s2
        if conditions.acceleration_m_s2 is not None:
            stated = as_array(conditions.acceleration_m_s2)
            acceleration = np.where(np.isnan(stated), acceleration, stated)
        depression, spread = _metered(car, flow, lambda at: suction_kpa(car, at, acceleration, density, conditions.engine_rpm))
        running = tank - depression, np.hypot(air_uncertainty, spread)
        # pressure in the tank does not count here: the line may have drained
        standing = np.minimum(tank, air) - held_column_kpa(car, density), air_uncertainty
        measured = car.suction.suction_idle_kpa is not None or car.suction.suction_full_kpa is not None
        how = "measured" if measured else "calculated, its loss taken as 1 to 3 times"
        basis = (
            f"running{at_flow}: tank pressure less suction ({how}) and the pump's pulses; "
            "standing: air pressure less the column its valves hold"
        )
    else:
        gauge, spread = _metered(car, flow, lambda at: delivery_kpa(car, at))
        running, standing = (air + gauge, np.hypot(air_uncertainty, spread)), (air, air_uncertainty)
        falls = "held by its regulator" if car.regulated else "which falls with flow"
        basis = f"running{at_flow}: air pressure and pump pressure, {falls}; standing: air pressure"
    # `<=` would be False for nan; an unknown state takes the lower pressure of the two
    take_running = np.where(np.isnan(state), running[0] < standing[0], state == 1)
    pressure = np.where(take_running, running[0], standing[0])
    uncertainty = np.where(take_running, running[1], standing[1])
    if role.pressure == "line" and conditions.fuel_pressure_kpa is not None:
        measured_gauge = as_array(conditions.fuel_pressure_kpa)
        over_air = np.maximum(measured_gauge, 0.0)
        measured_uncertainty = np.sqrt(air_uncertainty**2 + (GAUGE_SHARE * over_air) ** 2)  # a fifth of the time np.hypot takes
        known = ~np.isnan(measured_gauge)
        if known.all():
            pressure, uncertainty = air + over_air, measured_uncertainty
        else:
            pressure, uncertainty = np.where(known, air + over_air, pressure), np.where(known, measured_uncertainty, uncertainty)
        basis = f"measured line pressure over air pressure; else {basis}"
    return PlacePressure(pressure, uncertainty, basis)


def _metered(
    car: Car, flow_l_h: np.ndarray, at_flow: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
) -> tuple[np.ndarray, np.ndarray]:
    """(pressure, uncertainty) at a flow, with the car's meter's uncertainty added: the change of pressure for one standard uncertainty of flow."""
    pressure, spread = at_flow(flow_l_h)
    if np.isnan(flow_l_h).all() or not any(one.is_flow for one in car.inputs):
        return pressure, spread
    return pressure, np.hypot(spread, at_flow(flow_l_h * (1 + flow_share(car.inputs)))[0] - pressure)


def _tank(car: Car, conditions: Conditions, air: np.ndarray) -> tuple[np.ndarray, str]:
    """A sealed tank uses the measured pressure, else its cap's vacuum relief; the cap's pressure relief is never counted."""
    measured = as_array(conditions.tank_gauge_kpa)
    stated = car.tank.gauge_pressure_kpa
    if not car.tank.sealed:
        fallback, basis = air, "vented tank: air pressure"
    elif stated is not None:
        fallback, basis = air + stated, "sealed tank: gauge pressure of the car file over air pressure"
    else:
        fallback, basis = air - car.tank.cap_vacuum_relief_kpa, "sealed tank: air pressure less the cap's vacuum relief"
    if np.isnan(measured).all():
        return fallback, basis
    return np.where(np.isnan(measured), fallback, air + measured), "measured tank pressure over air pressure"


def looked_back(conditions: Conditions) -> Conditions:
    """The conditions with the lowest pressures of the last 5 s in place of the pressures, and without times: the input of at_places for each sample."""
    if conditions.time_s is None:
        return conditions
    times = np.asarray(conditions.time_s, dtype=float)
    given = {name: getattr(conditions, name) for name in LOOKED_BACK}
    rows = {name: values for name, values in given.items() if np.shape(values) == times.shape}
    if not rows:
        return replace(conditions, time_s=None)
    return replace(conditions, **dict(zip(rows, lowest_recent(times, np.stack(list(rows.values()))), strict=True)), time_s=None)


def _first_known(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    try:
        return np.where(np.isnan(first), second, first)
    except ValueError as error:
        raise InputError(f"the conditions' arrays must have one length: {error}") from None
