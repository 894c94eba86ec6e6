"""From a data sheet to T(V/L=20) and its uncertainty: the published equation, the mixture, and the continuous transition between them.

Two routes lead to the limit: the linear equation of ASTM D4814 (`volatility`), which holds for ordinary gasolines whose T10 and T50 are known,
and the mixture (`usual`), which holds, less certainly, for everything else. `credit` says how far the equation applies to a fuel, 1 to 0; the limit
is that share of the equation and the rest of the mixture. None of the numbers here is published; the basis of each is given beside it.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.fuel import volatility
from hotfuel.fuel.measurements import ASSUMED_T10_DEGC, Measurements
from hotfuel.fuel.usual import Usual

# Standard uncertainties of T(V/L=20), degC. The equation: 0.7 RMS against measurement without ethanol, about 1.5 with (15 retail gasolines, see
# tests/authority/test_against_measured_gasolines.py); a measured T(V/L=20): as the equation; the mixture: the same gasolines by vapour pressure alone.
EQUATION_DEGC, EQUATION_ETHANOL_DEGC, MIXTURE_DEGC, MUCH_ETHANOL_DEGC = 0.7, 1.5, 2.2, 2.7
_CORRELATION = 0.5  # of the two routes' errors: they share the vapour pressure (own judgement)
_REPRODUCIBILITY_SIGMAS = 2.77  # a reproducibility is exceeded once in twenty: 1.96 * sqrt(2) standard deviations


@dataclass(frozen=True)
class Route:
    """T(V/L=20) at 101.325 kPa with its standard uncertainty, degC; `credit`: the equation's share; `apart_degc`: equation less mixture (0 without one)."""

    t_vl20_degc: float
    sigma_degc: float
    credit: float
    apart_degc: float


def _ramp(value: float, at_0: float, at_1: float) -> float:
    """0 to 1 between two values, level at both ends (a cubic)."""
    share = min(max((value - at_0) / (at_1 - at_0), 0.0), 1.0)
    return share * share * (3 - 2 * share)


def credit(data: Measurements) -> float:
    """How far the equation applies: 0 without T10 or T50, 1 for an ordinary gasoline.

    Down to 0.4 from 50 to 35 kPa of vapour pressure: there the equation reads 2 to 4 degC low and the mixture 1 to 3 high on narrow blends whose
    composition is known (tests/host/fuel/test_edges.py). To 0 from 35 to 15 kPa, from T10 75 to 95 degC and from 12 to 20 vol-% ethanol; by a
    half from T50 85 to 60 degC without ethanol (D4814's own least is 77) and from 0 to 8 vol-% ethanol.
    """
    if data.t10_degc is None or data.t50_degc is None:
        return 0.0
    plateau = float(volatility.plateau_share(data.ethanol_vol))
    return (
        (0.4 + 0.6 * _ramp(data.vapour_pressure_kpa, 35, 50))
        * _ramp(data.vapour_pressure_kpa, 15, 35)
        * _ramp(data.t10_degc, 95, 75)
        * (1 - 0.5 * (1 - plateau) * _ramp(data.t50_degc, 85, 60))
        * (1 - 0.5 * _ramp(data.ethanol_vol, 0, 8))
        * _ramp(data.ethanol_vol, 20, 12)
    )


def mixture_sigma_degc(ethanol_vol: float) -> float:
    """Standard uncertainty of the mixture itself: more where ethanol is most of the fuel."""
    return MIXTURE_DEGC + (MUCH_ETHANOL_DEGC - MIXTURE_DEGC) * _ramp(ethanol_vol, 15, 40)


def route(data: Measurements, ordinary: Usual) -> Route:
    """T(V/L=20) from everything but a measured one."""
    given = ordinary.softened(data.for_fit())
    mixture, spread = ordinary.t_vl20_degc(given)
    sigma = float(np.hypot(mixture_sigma_degc(data.ethanol_vol), spread))
    share, equation = credit(data), data.blend_degc()
    if equation is None or share == 0:
        return Route(mixture, sigma, 0.0, 0.0)
    # the routes are compared by the three figures both use: further figures must not make the equation less certain
    three = {name: figure for name, figure in given.items() if name in ("t10_degc", "t50_degc")}
    apart = equation - ordinary.t_vl20_degc(three)[0]
    own = _equation_sigma_degc(data, equation, apart)
    variance = (share * own) ** 2 + ((1 - share) * sigma) ** 2 + 2 * _CORRELATION * share * (1 - share) * own * sigma
    return Route(share * equation + (1 - share) * mixture, float(np.sqrt(variance)), share, apart)


def _equation_sigma_degc(data: Measurements, equation_degc: float, apart_degc: float) -> float:
    """The equation's own uncertainty: its agreement with measurement, the reproducibility of its figures, and where the two routes are further apart
    than half a degree, seven tenths of the rest, up to the uncertainty of the mixture alone."""
    ethanol = float(volatility.plateau_share(data.ethanol_vol))
    agreement = EQUATION_DEGC + (EQUATION_ETHANOL_DEGC - EQUATION_DEGC) * ethanol
    figures = float(volatility.t_vl20_reproducibility_degc(equation_degc)) / _REPRODUCIBILITY_SIGMAS * (1 - ethanol)
    assumed = volatility.PER_T10 * ASSUMED_T10_DEGC if data.t10_assumed else 0.0
    own = agreement**2 + figures**2 + assumed**2
    room = max(MIXTURE_DEGC**2 - own, 0.0)
    beyond = 0.7 * max(abs(apart_degc) - 0.5, 0.0)
    return float(np.sqrt(own + (room * -np.expm1(-(beyond**2) / room) if room else 0.0)))
