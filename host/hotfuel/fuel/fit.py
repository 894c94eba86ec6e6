"""A composition for a fuel that is known by a few measurements: the most ordinary gasoline that agrees with them.

Each component's share starts at that of a typical gasoline and is multiplied by exp(t); the t are found as the most likely ones under a
normal spread about 0 and the measurements with their own uncertainties (Gauss-Newton). Why it is done so, and not by solving for T10:
- D86 reads 3 to 8 degC below the true boiling temperature at 10 % evaporated (lag, cold flask, some reflux), so T10 = T10 is wrong by that much;
- forcing the composition through T(V/L=20) exactly drives winter fuels to 16-19 % butane with hardly any C5, because a degree of T(V/L=20)
  moves ten per cent of the pentanes. So T(V/L=20) counts with an uncertainty here, and what is left is closed by `Feed.anchor`.
"""

from dataclasses import dataclass, replace

import numpy as np

from hotfuel.errors import InputError
from hotfuel.fuel import components as c
from hotfuel.fuel import flash
from hotfuel.fuel.components import Array
from hotfuel.units import STANDARD_PRESSURE_KPA, ZERO_DEGC_IN_K

TEST_K = 37.78 + ZERO_DEGC_IN_K  # 100 degF, where vapour pressure is measured
TEST_VAPOUR_LIQUID_RATIO = 4.0

# Volume fractions of a typical summer gasoline by boiling range (common practice, no source), in the order of the component table.
_TYPICAL = np.array([4, 9, 5, 13, 11, 26, 8, 8, 8, 8]) / 100
_SPREAD = 0.7  # of ln(share): a third to three times within two sigma and a half
# D86 temperature + offset = boiling temperature of the open distillation. Fitted on hydrocarbon gasolines to the D4814 equation, not published.
_OFFSET_DEGC = {10: 5.0, 50: 2.0, 90: 0.0}
_SIGMA_DEGC = {10: 3.0, 50: 2.0, 90: 6.0}
# An ethanol blend's plateau ends later in D86 (reflux) than in an open distillation, so its 50 % point says less about the base.
_SIGMA_T50_ETHANOL_DEGC = 6.0
_SIGMA_EVAPORATED = {70.0: 3.0, 100.0: 3.0}
_MOST_KPA, _HOTTEST_K = 510.0, 473.15  # limits are worked out up to here (hotfuel.fuel.table), the flash's range
_LEFT_DEGC = 0.35  # half of the linear equation's agreement with measurement: how far a fuel without an anchor may miss T(V/L=20)
_STEPS = np.concatenate([np.linspace(0, 0.16, 5), np.linspace(0.22, 0.94, 16)])


@dataclass(frozen=True)
class Data:
    """What is known of a fuel: vapour pressure, temperatures by per cent evaporated, per cent evaporated by temperature, T(V/L=20) with sigma."""

    vapour_pressure_kpa: float
    ethanol_vol: float
    distillation_degc: tuple[tuple[int, float], ...] = ()
    evaporated_vol: tuple[tuple[float, float], ...] = ()
    t_vl20_degc: float | None = None
    t_vl20_sigma_degc: float = 1.0
    vapour_pressure_sigma_kpa: float = 0.02


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


def _residuals(tilt: Array, data: Data) -> Array:
    """(model - measured) / sigma, shape (measurements, fuels)."""
    volumes = _volumes(tilt, data.ethanol_vol)
    feed, fuels = flash.Feed.of_volumes(volumes), np.ones(tilt.shape[1])
    pressure = flash.pressure_kpa(feed, TEST_K * fuels, TEST_VAPOUR_LIQUID_RATIO * fuels)
    found = [(pressure - data.vapour_pressure_kpa) / data.vapour_pressure_sigma_kpa]
    if data.t_vl20_degc is not None:
        at_20 = flash.temperature_k(feed, STANDARD_PRESSURE_KPA * fuels, 20 * fuels) - ZERO_DEGC_IN_K
        found.append((at_20 - data.t_vl20_degc) / data.t_vl20_sigma_degc)
    if data.distillation_degc or data.evaporated_vol:
        evaporated, boiling = open_distillation(volumes)
        for percent, measured in data.distillation_degc:
            model = np.array([np.interp(percent, x, y) for x, y in zip(evaporated.T, boiling.T, strict=True)])
            sigma = _SIGMA_T50_ETHANOL_DEGC if percent == 50 and data.ethanol_vol > 0 else _SIGMA_DEGC[percent]
            found.append((model - measured - _OFFSET_DEGC[percent]) / sigma)
        for degc, measured in data.evaporated_vol:
            offset = np.interp(measured, list(_OFFSET_DEGC), list(_OFFSET_DEGC.values()))
            model = np.array([np.interp(degc + offset, y, x) for x, y in zip(evaporated.T, boiling.T, strict=True)])
            found.append((model - measured) / _SIGMA_EVAPORATED[degc])
    return np.array(found)


def _most_likely(data: Data) -> tuple[Array, Array]:
    """The most likely t of every component, and d residual / dt of the data there."""
    count, nudge = len(_TYPICAL), 1e-3
    tilt = np.zeros(count)
    for _ in range(25):
        values = _residuals(tilt[:, None] + np.hstack([np.zeros((count, 1)), nudge * np.eye(count)]), data)
        jacobian, residual = (values[:, 1:] - values[:, :1]) / nudge, values[:, 0]
        step = np.linalg.solve(jacobian.T @ jacobian + np.eye(count) / _SPREAD**2, -jacobian.T @ residual - tilt / _SPREAD**2)
        step *= min(1.0, 1.0 / np.abs(step).max())
        tilt = tilt + step
        if np.abs(step).max() < 2e-3:
            break
    return tilt, jacobian


def composition(data: Data) -> Array:
    """Volume fractions at 15 degC of all components, shape (11,), ethanol last; raises InputError if no gasoline fits the vapour pressure.

    Example: vapour pressure 60 kPa, T50 100 degC, T90 165 degC -> about 5 vol-% butane, 15 vol-% C5.
    """
    tilt, _ = _most_likely(data)
    volumes = _volumes(tilt[:, None], data.ethanol_vol)
    if abs(float(_residuals(tilt[:, None], data)[0, 0])) * data.vapour_pressure_sigma_kpa > max(
        0.3, 3 * data.vapour_pressure_sigma_kpa
    ):
        raise InputError(
            f"no gasoline with {data.ethanol_vol:g} vol-% ethanol has a vapour pressure of {data.vapour_pressure_kpa:g} kPa and this distillation: "
            "check vapour pressure, T50, T90 and ethanol"
        )
    return volumes[:, 0]


def usual_vapour_pressure_kpa(data: Data) -> tuple[float, float]:
    """The vapour pressures gasolines with all the other data have: 2 standard deviations either side of the most likely, kPa."""
    loose = replace(data, vapour_pressure_sigma_kpa=1000.0)
    tilt, jacobian = _most_likely(loose)
    covariance = np.linalg.inv(jacobian.T @ jacobian + np.eye(len(tilt)) / _SPREAD**2)
    likely = data.vapour_pressure_kpa + loose.vapour_pressure_sigma_kpa * float(_residuals(tilt[:, None], loose)[0, 0])
    sigma = loose.vapour_pressure_sigma_kpa * float(np.sqrt(jacobian[0] @ covariance @ jacobian[0]))
    return likely - 2 * sigma, likely + 2 * sigma


def mixture_of(data: Data, exact: bool) -> flash.Feed:
    """The fuel behind the data. exact: its V/L is 20 at T(V/L=20), by the anchor. Where that would have the fuel boil all at once (narrow cuts, as in
    racing fuels), T(V/L=20) counts more in the composition, and what little is then left needs no anchor. InputError if no gasoline has these figures."""
    if not exact or data.t_vl20_degc is None:
        return _boiling_bit_by_bit(flash.Feed.of_volumes(composition(data)))
    try:
        return _boiling_bit_by_bit(anchored(composition(data), data.t_vl20_degc))
    except InputError:
        closer = composition(replace(data, t_vl20_sigma_degc=0.2 * data.t_vl20_sigma_degc))
    try:
        return _boiling_bit_by_bit(anchored(closer, data.t_vl20_degc))
    except InputError:
        feed = _boiling_bit_by_bit(flash.Feed.of_volumes(closer))
    if abs(t_vl20_degc(feed) - data.t_vl20_degc) > _LEFT_DEGC:
        raise InputError(f"T(V/L=20) {data.t_vl20_degc:g} degC does not go with this vapour pressure: check both values")
    return feed


def t_vl20_degc(feed: flash.Feed) -> float:
    """Where the feed's V/L is 20 at 101.325 kPa, degC."""
    return float(flash.temperature_k(feed, np.array([STANDARD_PRESSURE_KPA]), np.array([20.0]))[0]) - ZERO_DEGC_IN_K


def _boiling_bit_by_bit(feed: flash.Feed) -> flash.Feed:
    """The feed itself, if more of it boils only at less pressure and all that limits are worked out for is within the flash's range."""
    kelvin, ratio = np.meshgrid(np.linspace(0, 80, 5) + ZERO_DEGC_IN_K, np.linspace(0, 40, 41), indexing="ij")
    pressure = flash.pressure_kpa(feed, kelvin.ravel(), ratio.ravel()).reshape(kelvin.shape)
    hottest = flash.temperature_k(feed, np.array([_MOST_KPA]), np.array([ratio.max()]))
    if np.diff(pressure, axis=1).max() >= 0 or hottest > _HOTTEST_K:
        raise InputError("no gasoline boils as these figures say: check vapour pressure, T10, T50, T90, T(V/L=20) and ethanol")
    return feed


def anchored(volume_fraction: Array, t_vl20_degc: float) -> flash.Feed:
    """The mixture with its anchor set so that V/L is 20 at `t_vl20_degc` and 101.325 kPa; its vapour pressure at V/L 4 stays as it is."""
    anchor, one = 0.0, np.ones(1)
    for _ in range(40):
        feed = flash.Feed.of_volumes(volume_fraction, anchor)
        pressure = flash.pressure_kpa(feed, (t_vl20_degc + ZERO_DEGC_IN_K) * one, 20 * one)[0]
        error = float(np.log(pressure / STANDARD_PRESSURE_KPA))
        if abs(error) < 1e-7:
            return feed
        anchor += error
    raise InputError(f"T(V/L=20) {t_vl20_degc:g} degC does not go with this vapour pressure: check both values")


def after_loss(volume_fraction: Array, lost_vol: float) -> Array:
    """Volume fractions (11,) after `lost_vol` vol-% left as vapour at 25 degC, as it forms (weathering in an open tank)."""
    feed, left = flash.Feed.of_volumes(volume_fraction), flash.Feed.of_volumes(volume_fraction).moles
    volumes = c.VOLUME_15C_M3_MOL[feed.which][:, None]
    activity = flash.Activity(feed.which, np.array([25 + ZERO_DEGC_IN_K]))
    saturation = np.exp(c.log_vapour_pressure(np.array([25 + ZERO_DEGC_IN_K]), feed.which))
    whole, steps = (volumes * left).sum(), 50
    for _ in range(steps):
        vapour = left * saturation * np.exp(activity.log_gamma(left))
        left = left * np.exp(-(lost_vol / 100 / steps) * whole / (vapour * volumes).sum() * vapour / left)
    return flash.Feed(feed.which, left / left.sum()).volume_fraction()
