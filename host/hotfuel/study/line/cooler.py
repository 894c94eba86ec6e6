"""Coolers: how good one is, from temperatures and flows, and what the same one does under other conditions. And ice: minutes until it is melted.

Effectiveness and NTU by the usual formulas (W. M. Kays and A. L. London, Compact Heat Exchangers; F. P. Incropera et al., chapter 11, table 11.3).
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from enum import StrEnum

import numpy as np
from scipy.optimize import brentq

from hotfuel.errors import InputError
from hotfuel.study.line.plug_flow import CP_J_KG_K, CP_SHARE, DENSITY_KG_M3
from hotfuel.units import expanded

LEAST_SPAN_DEGC = 3.0
MOST_DOUBT = 0.5  # relative standard uncertainty of a UA above which it is not reported
LATENT_HEAT_ICE_KJ_KG = 333.55  # melting of ice at 0 degC (IAPWS-06 / CRC Handbook)
CP_WATER_KJ_KG_K = 4.19
UA_FLOW_EXPONENTS = (0.0, 0.8)
UA_FLOW_EXPONENT = (
    0.4  # of the fuel's flow: 0.8 where the fuel's side limits the heat, 0 where the other side does; the middle of these
)


def _counterflow(ntu: float, ratio: float) -> float:
    if abs(1 - ratio) < 1e-9:
        return ntu / (1 + ntu)
    e = np.exp(-ntu * (1 - ratio))
    return float((1 - e) / (1 - ratio * e))


def _parallel(ntu: float, ratio: float) -> float:
    return float((1 - np.exp(-ntu * (1 + ratio))) / (1 + ratio))


def _crossflow(ntu: float, ratio: float) -> float:
    """Both fluids unmixed, the usual approximation (Incropera equation 11.32), within 4 % of the exact integral."""
    if ratio < 1e-12:  # the formula's limit
        return float(-np.expm1(-ntu))
    return float(-np.expm1(ntu**0.22 / ratio * np.expm1(-ratio * ntu**0.78)))


def _bath(ntu: float, ratio: float) -> float:
    return float(1 - np.exp(-ntu))


ARRANGEMENTS: dict[str, Callable[[float, float], float]] = {
    "counterflow": _counterflow,
    "parallel flow": _parallel,
    "crossflow": _crossflow,  # a liquid-to-air core with a fan
    "bath": _bath,  # a coil in ice water, or anything whose other side keeps one temperature
}


def effectiveness(ntu: float, capacity_ratio: float, arrangement: str = "crossflow") -> float:
    """Effectiveness of NTU and C_min / C_max. Raises InputError for an unknown arrangement or values out of range.

    Example: effectiveness(1.0, 0.5, "counterflow") -> 0.565.
    """
    if arrangement not in ARRANGEMENTS:
        raise InputError(f'the arrangement "{arrangement}" is not known: choose {", ".join(ARRANGEMENTS)}')
    if not (0 <= ntu <= 100 and 0 <= capacity_ratio <= 1):
        raise InputError(f"NTU {ntu:g} and a capacity ratio of {capacity_ratio:g} were given: allowed are 0 to 100 and 0 to 1")
    return ARRANGEMENTS[arrangement](ntu, capacity_ratio) if ntu > 0 else 0.0


def ntu_of(value: float, capacity_ratio: float, arrangement: str = "crossflow") -> float:
    """The NTU that gives an effectiveness: the inverse of `effectiveness`. Raises InputError where no NTU reaches it."""
    if not 0 <= value < 1:
        raise InputError(
            f"an effectiveness of {value:.2f} was found: below 0 or above 1 the readings contradict each other, check probes and flow"
        )
    if value == 0:
        return 0.0
    most = effectiveness(100.0, capacity_ratio, arrangement)
    if value >= most:
        raise InputError(
            f"an effectiveness of {value:.2f} is more than {arrangement} can reach here ({most:.2f}): check probes, flow and arrangement"
        )
    return float(brentq(lambda ntu: effectiveness(ntu, capacity_ratio, arrangement) - value, 0.0, 100.0, xtol=1e-10))


class NoUa(StrEnum):
    """Why a UA is not reported."""

    NOT_COOLED = "not cooled"  # the fuel's cooling is within the uncertainty of the readings
    NEARLY_ALL = "nearly all"  # nearly all of the heat is taken out, and a larger UA would read the same
    VAGUE = "vague"  # readings or flow are too uncertain


class SpanError(InputError):
    """The fuel enters too little above the coolant, by span_degc, to say anything about a cooler."""

    def __init__(self, message: str, span_degc: float) -> None:
        super().__init__(message)
        self.span_degc = span_degc


@dataclass(frozen=True)
class Cooler:
    """A cooler as measured: effectiveness on the fuel's side, UA, heat rejected, with standard uncertainties; and the flows at which it was measured.

    coolant_w_k: heat capacity flow of the other side, infinity for a bath.
    """

    effectiveness: float
    effectiveness_u: float
    ua_w_k: float
    ua_u_w_k: float
    heat_w: float
    heat_u_w: float
    fuel_l_h: float
    coolant_w_k: float
    arrangement: str

    @property
    def ua_told(self) -> bool:
        """Whether UA is known to better than half of itself; beyond that a number would mislead."""
        return self.ua_u_w_k <= MOST_DOUBT * self.ua_w_k

    @property
    def no_ua(self) -> NoUa | None:
        """Why UA is not reported, None where it is."""
        if self.ua_told:
            return None
        half = float(expanded(self.effectiveness_u))
        if self.effectiveness - half <= 0:
            return NoUa.NOT_COOLED
        return NoUa.NEARLY_ALL if self.effectiveness + half >= 1 else NoUa.VAGUE

    @property
    def least_ua_w_k(self) -> float:
        """The least UA within the uncertainty of an effectiveness that is surely above 0."""
        least = self.effectiveness - float(expanded(self.effectiveness_u))
        return float(self.ua_w_k * -np.log1p(-least) / max(-np.log1p(-min(self.effectiveness, 0.999)), 1e-9))

    def as_dict(self) -> dict[str, object]:
        """Plain fields for JSON."""
        return asdict(self) | {"ua_told": self.ua_told}


@dataclass(frozen=True)
class Cooled:
    """What a cooler does under other conditions: fuel leaving it, heat rejected, with standard uncertainties."""

    outlet_degc: float
    outlet_u_degc: float
    heat_w: float
    heat_u_w: float
    effectiveness: float


def capacity_flow_w_k(fuel_l_h: float) -> float:
    """Heat capacity flow of gasoline. Example: 10 L/h -> 4.3 W/K."""
    return fuel_l_h / 3.6e6 * DENSITY_KG_M3 * CP_J_KG_K


def measured(
    inlet_degc: float,
    outlet_degc: float,
    coolant_degc: float,
    fuel_l_h: float,
    *,
    coolant_w_k: float = np.inf,
    arrangement: str = "crossflow",
    reading_u_degc: float = 0.5,
    flow_relative_u: float = 0.1,
) -> Cooler:
    """A cooler from fuel in, fuel out, the other side's inlet and the fuel's flow. Raises InputError for readings that contradict each other.

    reading_u_degc: standard uncertainty of one reading against another. coolant_w_k: mass flow x cp of the other side; infinite if it stays constant.
    """
    span = inlet_degc - coolant_degc
    if not span >= LEAST_SPAN_DEGC:
        by = f"{abs(span):.1f} °C {'above' if span >= 0 else 'below'}" if np.isfinite(span) else "an unknown amount above"
        raise SpanError(
            f"fuel enters {by} the coolant: at least {LEAST_SPAN_DEGC:.0f} °C above it are needed to say anything about a cooler",
            span,
        )
    if not fuel_l_h > 0:
        raise InputError(f"a fuel flow of {fuel_l_h:g} L/h was given: it must be above 0")
    fuel = capacity_flow_w_k(fuel_l_h)
    share = (inlet_degc - outlet_degc) / span
    least, ratio = min(fuel, coolant_w_k), _ratio(fuel, coolant_w_k)
    own = share * fuel / least
    kind = "bath" if np.isinf(coolant_w_k) else arrangement
    ntu = ntu_of(own, ratio, kind)
    share_u = float(reading_u_degc * np.sqrt(1 + (1 - share) ** 2 + share**2) / span)
    high = min(own + share_u * fuel / least, 0.999 * effectiveness(100.0, ratio, kind))
    slope = abs(ntu_of(high, ratio, kind) - ntu) if high > own else ntu
    heat = fuel * (inlet_degc - outlet_degc)
    reading = reading_u_degc * np.sqrt(2) / max(abs(inlet_degc - outlet_degc), 1e-9)
    return Cooler(
        effectiveness=share,
        effectiveness_u=share_u,
        ua_w_k=ntu * least,
        ua_u_w_k=float(np.hypot(slope * least, ntu * least * np.hypot(flow_relative_u, CP_SHARE))),
        heat_w=heat,
        heat_u_w=float(abs(heat) * np.sqrt(reading**2 + flow_relative_u**2 + CP_SHARE**2)),
        fuel_l_h=fuel_l_h,
        coolant_w_k=coolant_w_k,
        arrangement=kind,
    )


def _ratio(fuel_w_k: float, coolant_w_k: float) -> float:
    return min(fuel_w_k, coolant_w_k) / max(fuel_w_k, coolant_w_k) if np.isfinite(coolant_w_k) else 0.0


def elsewhere(
    cooler: Cooler, inlet_degc: float, coolant_degc: float, fuel_l_h: float, coolant_w_k: float | None = None
) -> Cooled:
    """The same cooler with other fuel in, other coolant, other flow. Raises InputError for a flow that is not above 0.

    UA goes with the fuel's flow to the power 0.4, between 0 and 0.8 depending on which side limits it; that range is in the uncertainty. The air or
    water side stays as it was measured.
    """
    if not fuel_l_h > 0:
        raise InputError(f"a fuel flow of {fuel_l_h:g} L/h was given: it must be above 0")
    other = cooler.coolant_w_k if coolant_w_k is None else coolant_w_k
    fuel = capacity_flow_w_k(fuel_l_h)
    least, ratio = min(fuel, other), _ratio(fuel, other)

    def outlet_with(exponent: float, ua_w_k: float) -> tuple[float, float]:
        ua = ua_w_k * (fuel_l_h / cooler.fuel_l_h) ** exponent
        own = effectiveness(min(ua / least, 100.0), ratio, cooler.arrangement)
        share = own * least / fuel
        return inlet_degc - share * (inlet_degc - coolant_degc), share

    outlet, share = outlet_with(UA_FLOW_EXPONENT, cooler.ua_w_k)
    range_u = abs(outlet_with(0.8, cooler.ua_w_k)[0] - outlet_with(0.0, cooler.ua_w_k)[0]) / np.sqrt(12)
    ua_u = abs(outlet_with(UA_FLOW_EXPONENT, cooler.ua_w_k + cooler.ua_u_w_k)[0] - outlet)
    outlet_u = float(np.hypot(range_u, ua_u))
    heat = float(fuel * (inlet_degc - outlet))
    return Cooled(
        outlet_degc=float(outlet),
        outlet_u_degc=outlet_u,
        heat_w=heat,
        heat_u_w=float(np.hypot(fuel * outlet_u, CP_SHARE * heat)),
        effectiveness=float(share),
    )


def ice_minutes(
    ice_kg: float, heat_w: float, *, start_degc: float = 0.0, water_kg: float = 0.0, water_degc: float = 0.0
) -> float:
    """Minutes until a heat flow has melted the ice: its latent heat and that of warming ice below 0 °C, less what warm water in the can melts at once.

    Raises InputError for values not above 0. Example: ice_minutes(2.0, 300) -> 37.
    """
    if not (ice_kg > 0 and heat_w > 0 and -30 <= start_degc <= 0 and water_kg >= 0 and 0 <= water_degc <= 60):
        raise InputError("ice needs a mass and a heat flow above 0, ice from -30 to 0 °C and water from 0 to 60 °C")
    stored_kj = ice_kg * (LATENT_HEAT_ICE_KJ_KG - 2.1 * start_degc) - water_kg * CP_WATER_KJ_KG_K * water_degc
    return float(max(stored_kj, 0.0) * 1000 / heat_w / 60)
