"""Forecasts for each place during a stop or at idle. Each takes about 0.2 s, so they are worked out in another thread."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hotfuel.car import Car
from hotfuel.errors import InputError
from hotfuel.fuel import Fuel
from hotfuel.live.history import MeansSince
from hotfuel.places import is_behind_needle
from hotfuel.risk.margin import PlaceMargin
from hotfuel.risk.pressure import Conditions, at_places
from hotfuel.risk.soak import (
    AFTER_STOP,
    Band,
    IdleForecast,
    Prior,
    SoakForecast,
    forecast_idle,
    forecast_soak,
    learned,
    widening_of,
)
from hotfuel.session.soaks import Soak, earlier

FIRST_S, EVERY_S = 60.0, 15.0  # the first forecast after that long, a new one that often
_TRIED_AT_S = 300.0  # bands are tried as they stood five minutes after a stop


@dataclass(frozen=True)
class Outlook:
    """Forecast of one place. `elapsed_min`: of the stop or idle when it was made, `limit_degc` the limit then."""

    place: str
    elapsed_min: float
    soak: SoakForecast | None = None
    idle: IdleForecast | None = None
    limit_degc: float = math.nan

    @property
    def model_only(self) -> bool:
        """True if it is not based on any earlier stop or idle of this car."""
        told = self.soak or self.idle
        return told is not None and told.model_only


@dataclass(frozen=True)
class Task:
    """Everything a forecast needs, taken at one moment, so that it can be worked out in another thread."""

    standing: bool
    elapsed_s: float
    air_degc: float
    places: list[tuple[str, np.ndarray, np.ndarray, float, float]]  # name, seconds, degC, limit degC, pressure kPa


def task(
    car: Car, since: MeansSince, standing: bool, at: float, latest: dict[str, PlaceMargin], inputs: dict[str, np.ndarray]
) -> Task:
    """What is known at axis second `at`. latest: margins, inputs: by name, whose last rows count."""
    given = {
        name: float(inputs[name][-1])
        for name in ("ambient_pressure_kpa", "engine_rpm", "fuel_pressure_kpa")
        if name in inputs and len(inputs[name])
    }
    # Boiling at idle begins at the idle flow; the limit is for the flow at full throttle.
    idling = at_places(car, Conditions(running=1.0, flow_l_h=car.engine.idle_flow_l_h, **given))
    air = next((place.name for place in car.places if place.kind.beside_line), None)
    air_degc = math.nan
    if air is not None:
        _, values = since.column(air)
        air_degc = float(values[-1]) if len(values) else math.nan
    rows = []
    for name, margin in latest.items():
        if is_behind_needle(name) or not math.isfinite(float(margin.limit_degc[-1])):
            continue
        seconds, degc = since.column(name)
        if len(degc):
            pressure_kpa = margin.pressure_kpa[-1] if standing else idling[name].pressure_kpa
            rows.append((name, seconds, degc, float(margin.limit_degc[-1]), float(pressure_kpa)))
    return Task(standing, at - since.began, air_degc, rows)


@dataclass(frozen=True)
class Experience:
    """What this car's own soaks tell about one place: the prior, and the factor by which bands must be widened to have held."""

    prior: Prior = AFTER_STOP
    widening: float = 1.0


def experience(path: Path, car: Car) -> dict[str, Experience]:
    """By place, from the sessions of the same car beside this one. The prior is fitted to the older half, the bands are checked on the newer half."""
    by_place: dict[str, list[Soak]] = {}
    for soak in earlier(path, car.name):
        by_place.setdefault(soak.place, []).append(soak)
    found = {}
    for place, soaks in by_place.items():
        newer, older = soaks[: len(soaks) // 2], soaks[len(soaks) // 2 :]
        taught = learned(AFTER_STOP, [_row(soak) for soak in older])
        tried = []
        for soak in newer:
            seen = soak.time_s <= _TRIED_AT_S
            try:
                told = forecast_soak(
                    soak.time_s[seen],
                    soak.degc[seen],
                    soak.air_degc,
                    onset_degc=soak.onset_degc,
                    limit_degc=soak.onset_degc,
                    prior=taught,
                )
            except InputError:
                continue
            tried.append((told.peak_degc, soak.peak_degc))
        found[place] = Experience(learned(AFTER_STOP, [_row(soak) for soak in soaks]), widening_of(tried))
    return found


def _row(soak: Soak) -> tuple[np.ndarray, np.ndarray, float, float]:
    return soak.time_s, soak.degc, soak.air_degc, soak.onset_degc


def outlooks(what: Task, fuel: Fuel, known: Mapping[str, Experience] | None = None) -> list[Outlook]:
    """One Outlook for every place with enough readings. known: this car's experience by place."""
    result = []
    for place, seconds, degc, limit_degc, pressure_kpa in what.places:
        if not fuel.covers(0.0, pressure_kpa):
            continue  # the pressure there is so low that it already counts as beyond its limit
        onset_degc = float(fuel.bubble_point_degc(pressure_kpa))
        try:
            if what.standing:
                own = (known or {}).get(place, Experience())
                soak = forecast_soak(
                    seconds,
                    degc,
                    what.air_degc,
                    onset_degc=onset_degc,
                    limit_degc=limit_degc,
                    prior=own.prior,
                    widening=own.widening,
                )
                result.append(Outlook(place, what.elapsed_s / 60, soak=soak, limit_degc=limit_degc))
            else:
                idle = forecast_idle(seconds, degc, what.air_degc, onset_degc=onset_degc, limit_degc=limit_degc)
                result.append(Outlook(place, what.elapsed_s / 60, idle=idle, limit_degc=limit_degc))
        except InputError:
            continue  # too few readings yet, or an hour has passed: then there is nothing to forecast
    return result


def later(band: Band, elapsed_min: float) -> Band:
    """A band of minutes since the stop as minutes from now, never below 0."""
    return Band(
        *(max(value - elapsed_min, 0.0) if math.isfinite(value) else value for value in (band.least, band.middle, band.greatest))
    )
