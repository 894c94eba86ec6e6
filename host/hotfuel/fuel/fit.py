"""A composition for a fuel that is known by a few measurements: the most typical gasoline that agrees with them.

Each component's share starts at that of a typical gasoline and is multiplied by exp(t); the t are found as the most likely ones under a
normal spread about 0 and the measurements with their own uncertainties (Gauss-Newton). Why not solve for T10:
- D86 reads 3 to 8 degC below the true boiling temperature at 10 % evaporated (lag, cold flask, some reflux), so T10 = T10 is wrong by that much;
- forcing the composition through T(V/L=20) exactly drives winter fuels to 16-19 % butane with hardly any C5, because a degree of T(V/L=20)
  moves ten per cent of the pentanes. So T(V/L=20) has an uncertainty here, and `Feed.anchor` removes the remaining difference.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import components as c
from hotfuel.fuel import flash
from hotfuel.fuel.activity import Activity
from hotfuel.fuel.components import Array
from hotfuel.units import STANDARD_PRESSURE_KPA, ZERO_DEGC_IN_K

TEST_K = 37.78 + ZERO_DEGC_IN_K  # 100 degF, where vapour pressure is measured
TEST_VAPOUR_LIQUID_RATIO = 4.0

# Volume fractions of a typical summer gasoline by boiling range (common practice, no source), in the order of the component table.
_TYPICAL = np.array([4, 9, 5, 13, 11, 26, 8, 8, 8, 8]) / 100
COUNT = len(_TYPICAL)
SPREAD = 0.7  # of ln(share): a third to three times within 2.5 sigma
FIGURES = ("vapour_pressure_kpa", "t_vl20_degc", "t10_degc", "t50_degc", "t90_degc", "e70_vol", "e100_vol")
_PERCENT = {"t10_degc": 10, "t50_degc": 50, "t90_degc": 90}
_EVAPORATED_AT_DEGC = {"e70_vol": 70.0, "e100_vol": 100.0}
# D86 temperature + offset = boiling temperature of the open distillation. Fitted on hydrocarbon gasolines to the D4814 equation, not published.
_OFFSET_DEGC = {10: 5.0, 50: 2.0, 90: 0.0}
_SIGMA = {"t10_degc": 3.0, "t50_degc": 2.0, "t90_degc": 6.0, "e70_vol": 3.0, "e100_vol": 3.0}
# An ethanol blend's plateau ends later in D86 (reflux) than in an open distillation, so its 50 % point says less about the base.
_SIGMA_T50_PLATEAU_DEGC, _PLATEAU_FROM_VOL = 4.0, 8.0
_MOST_KPA, _HOTTEST_K = 510.0, 473.15  # limits are computed up to here (hotfuel.fuel.table), the flash's range
_NUDGE = 1e-3
_STEPS = np.concatenate([np.linspace(0, 0.16, 5), np.linspace(0.22, 0.94, 16)])


@dataclass(frozen=True)
class Data:
    """What is known about a fuel: ethanol, and for some of FIGURES the value and its standard uncertainty."""

    ethanol_vol: float
    figures: Mapping[str, tuple[float, float]]


def sigma_of(figure: str, ethanol_vol: float) -> float:
    """Standard uncertainty of a measured figure against the mixture's distillation, in the figure's unit."""
    if figure != "t50_degc":
        return _SIGMA[figure]
    return _SIGMA[figure] + _SIGMA_T50_PLATEAU_DEGC * min(ethanol_vol / _PLATEAU_FROM_VOL, 1.0)


def open_distillation(volume_fraction: Array) -> tuple[Array, Array]:
    """Open (Rayleigh) distillation at 101.3 kPa: vapour leaves as it forms. `volume_fraction`: (11, fuels).

    Returns per cent evaporated, as liquid at 15 degC, and the boiling temperature in degC, both (steps, fuels).
    """
    feed = flash.Feed.of_volumes(volume_fraction)
    volumes = c.VOLUME_15C_M3_MOL[feed.which][:, None]
    start = left = feed.moles
    whole = (volumes * start).sum(axis=0)
    temperature = np.full(start.shape[1], 330.0)

    def boil(moles: Array) -> tuple[Array, Array]:
        return flash.bubble_k(flash.Feed(feed.which, moles / moles.sum(axis=0)), STANDARD_PRESSURE_KPA, temperature)

    temperature, vapour = boil(left)
    evaporated, boiling = [np.zeros(start.shape[1])], [temperature]
    for step in np.diff(_STEPS):
        # midpoint rule in ln(moles): shares stay positive however little is left
        half = left * np.exp(-0.5 * step * whole / (vapour * volumes).sum(axis=0) * vapour / left)
        temperature, vapour = boil(half)
        left = left * np.exp(-step * whole / (vapour * volumes).sum(axis=0) * vapour / half)
        temperature, vapour = boil(left)
        evaporated.append(100 * (1 - (left * volumes).sum(axis=0) / whole))
        boiling.append(temperature)
    return np.array(evaporated), np.array(boiling) - ZERO_DEGC_IN_K


def _volumes(tilt: Array, ethanol_vol: float) -> Array:
    shares = _TYPICAL[:, None] * np.exp(tilt)
    shares = shares / shares.sum(axis=0) * (1 - ethanol_vol / 100)
    return np.vstack([shares, np.full((1, tilt.shape[1]), ethanol_vol / 100)])


def predicted(tilt: Array, ethanol_vol: float, figures: tuple[str, ...]) -> Array:
    """What would be measured on mixtures whose shares are the typical ones times exp(tilt): `tilt` (10, fuels) -> (figures, fuels)."""
    volumes = _volumes(tilt, ethanol_vol)
    feed, fuels = flash.Feed.of_volumes(volumes), np.ones(tilt.shape[1])
    curve = open_distillation(volumes) if set(figures) & set(_SIGMA) else None
    found = []
    for figure in figures:
        if figure == "vapour_pressure_kpa":
            found.append(flash.pressure_kpa(feed, TEST_K * fuels, TEST_VAPOUR_LIQUID_RATIO * fuels))
        elif figure == "t_vl20_degc":
            found.append(flash.temperature_k(feed, STANDARD_PRESSURE_KPA * fuels, 20 * fuels) - ZERO_DEGC_IN_K)
        else:
            assert curve is not None
            found.append(_on_the_curve(figure, *curve))
    return np.array(found).reshape(len(figures), -1) if figures else np.empty((0, tilt.shape[1]))


def _on_the_curve(figure: str, evaporated: Array, boiling: Array) -> Array:
    if figure in _PERCENT:
        percent = _PERCENT[figure]
        return np.array([np.interp(percent, x, y) for x, y in zip(evaporated.T, boiling.T, strict=True)]) - _OFFSET_DEGC[percent]
    offsets = np.interp(evaporated, list(_OFFSET_DEGC), list(_OFFSET_DEGC.values()))
    degc = _EVAPORATED_AT_DEGC[figure]
    return np.array([np.interp(degc, y, x) for x, y in zip(evaporated.T, (boiling - offsets).T, strict=True)])


def with_slopes(tilt: Array, ethanol_vol: float, figures: tuple[str, ...]) -> tuple[Array, Array]:
    """`predicted` of one mixture, (figures,), and its derivatives by the tilt, (figures, 10)."""
    values = predicted(tilt[:, None] + np.hstack([np.zeros((COUNT, 1)), _NUDGE * np.eye(COUNT)]), ethanol_vol, figures)
    return values[:, 0], (values[:, 1:] - values[:, :1]) / _NUDGE


def most_likely(data: Data, start: Array | None = None) -> Array:
    """The most likely tilt, (10,), under a normal spread about 0 and the data. `start`: where to begin looking."""
    names = tuple(data.figures)
    measured, sigma = (np.array([data.figures[name][i] for name in names]) for i in (0, 1))
    tilt = np.zeros(COUNT) if start is None else start
    for turn in range(25):
        value, slope = with_slopes(tilt, data.ethanol_vol, names)
        residual, jacobian = (value - measured) / sigma, slope / sigma[:, None]
        step = np.linalg.solve(jacobian.T @ jacobian + np.eye(COUNT) / SPREAD**2, -jacobian.T @ residual - tilt / SPREAD**2)
        # contradictory figures make the full step oscillate: it is shortened with each iteration
        step *= min(1.0, 1.0 / max(np.abs(step).max(), 1e-12)) * (1.0 if turn < 8 else 0.5)
        tilt = tilt + step
        if np.abs(step).max() < 2e-3:
            break
    return tilt


def composition(data: Data, start: Array | None = None) -> Array:
    """Volume fractions at 15 degC of all components, shape (11,), ethanol last; raises InputError if no gasoline fits the vapour pressure.

    Example: vapour pressure 60 kPa, T50 100 degC, T90 165 degC -> about 5 vol-% butane, 15 vol-% C5.
    """
    tilt = most_likely(data, start)
    require_vapour_pressure(float(predicted(tilt[:, None], data.ethanol_vol, ("vapour_pressure_kpa",))[0, 0]), data)
    return _volumes(tilt[:, None], data.ethanol_vol)[:, 0]


def require_vapour_pressure(found_kpa: float, data: Data) -> None:
    """InputError if a mixture's vapour pressure is not the one it was fitted to."""
    measured, sigma = data.figures["vapour_pressure_kpa"]
    if abs(found_kpa - measured) > max(0.3, 3 * sigma):
        raise InputError(
            f"no gasoline with {data.ethanol_vol:g} vol-% ethanol has a vapour pressure of {measured:.4g} kPa and this distillation: "
            "check vapour pressure, T50, T90 and ethanol"
        )


def t_vl20_degc(feed: flash.Feed) -> float:
    """Where the feed's V/L is 20 at 101.325 kPa, degC."""
    return float(flash.temperature_k(feed, np.array([STANDARD_PRESSURE_KPA]), np.array([20.0]))[0]) - ZERO_DEGC_IN_K


_GRID_K, _GRID_RATIO = (
    values.ravel() for values in np.meshgrid(np.linspace(-20, 80, 6) + ZERO_DEGC_IN_K, np.linspace(0, 40, 41), indexing="ij")
)


def log_pressures(feed: flash.Feed) -> Array:
    """ln(P/kPa), (temperatures, 41) at V/L 0 to 40 from -20 to 80 degC."""
    return np.log(flash.pressure_kpa(feed, _GRID_K, _GRID_RATIO)).reshape(-1, 41)


def require_boiling_bit_by_bit(feed: flash.Feed) -> None:
    """InputError unless pressure falls as V/L rises and every state that limits are computed for is within the flash's range."""
    hottest = flash.temperature_k(feed, np.array([_MOST_KPA]), np.array([_GRID_RATIO.max()]))
    if np.diff(log_pressures(feed), axis=1).max() >= 0 or hottest > _HOTTEST_K:
        raise InputError("no gasoline boils as these figures say: check vapour pressure, T10, T50, T90, T(V/L=20) and ethanol")


def anchored(volume_fraction: Array, t_vl20_degc: float) -> flash.Feed:
    """The mixture with its anchor set so that V/L is 20 at `t_vl20_degc` and 101.325 kPa; its vapour pressure at V/L 4 stays as it is.

    Where that would make the fuel boil all at once (narrow cuts, as in racing fuels) the anchor is limited to nine tenths of what that takes, so
    that a small change in the figures is a small change in the fuel.
    """
    plain = flash.Feed.of_volumes(volume_fraction)
    ratios = _GRID_RATIO[:41]
    steepest = np.diff(log_pressures(plain), axis=1) / np.diff(flash.volatility_shift(ratios))
    least = 0.9 * float(steepest.max())
    anchor, one = 0.0, np.ones(1)
    for _ in range(40):
        feed = replace(plain, anchor=anchor)
        pressure = flash.pressure_kpa(feed, (t_vl20_degc + ZERO_DEGC_IN_K) * one, 20 * one)[0]
        error = float(np.log(pressure / STANDARD_PRESSURE_KPA))
        if abs(error) < 1e-7 or (anchor == least and error < 0):
            return feed
        anchor = max(anchor + error, least)
    raise InputError(f"T(V/L=20) {t_vl20_degc:.4g} degC does not fit this vapour pressure: check both values")


def after_loss(volume_fraction: Array, lost_vol: float) -> Array:
    """Volume fractions (11,) after `lost_vol` vol-% left as vapour at 25 degC, as it forms (weathering in an open tank)."""
    feed, left = flash.Feed.of_volumes(volume_fraction), flash.Feed.of_volumes(volume_fraction).moles
    volumes = c.VOLUME_15C_M3_MOL[feed.which][:, None]
    activity = Activity(feed.which, np.array([25 + ZERO_DEGC_IN_K]))
    saturation = np.exp(c.log_vapour_pressure(np.array([25 + ZERO_DEGC_IN_K]), feed.which))
    whole, steps = (volumes * left).sum(), 50
    for _ in range(steps):
        vapour = left * saturation * np.exp(activity.log_gamma(left))
        left = left * np.exp(-(lost_vol / 100 / steps) * whole / (vapour * volumes).sum() * vapour / left)
    return flash.Feed(feed.which, left / left.sum()).volume_fraction()
