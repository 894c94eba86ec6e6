"""A cooler or an ice can in a forecast: by how much it cools the fuel that passes it, by NTU at each moment's flow."""

from typing import TYPE_CHECKING

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.line.assumed import Assumption, CoolerAir, CoolerSize, CoolerSpray, CoolerWater, IceWater
from hotfuel.study.line.change import Change, bounds
from hotfuel.study.line.cooler import UA_FLOW_EXPONENTS, capacity_flow_w_k
from hotfuel.study.line.draws import OWN_U, Own
from hotfuel.study.line.grid import STEP_S
from hotfuel.study.line.unknown import Unknown, What

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC = 3.0, 1.9  # air that reaches a cooler's core (assumption)
WATER_OVER_AMBIENT_DEGC = (4.0, 15.0)  # a separate water circuit (common practice, no source)
SPRAY_BELOW_AMBIENT_DEGC = (1.0, 10.0)  # a wetted core: at most down to the wet bulb of a dry day (common practice, no source)
IDLE_AIR_SHARE = (0.1, 0.7)  # share of its UA that a core without a fan keeps while the car stands (common practice, no source)
ICE_WALL_W_K = (0.5, 3.0)  # from the can to the air around it (common practice, no source)
USUAL_ICE_KG = 3.0
MELT_J_KG, WATER_J_KG_K = 333.55e3, 4190.0


class Cooling:
    """A cooler: by how much it cools the fuel that enters it, by NTU. assumptions: those of its size and coolant."""

    def __init__(self, changed: "Changed", change: Change) -> None:
        self.to, self.change = changed, change
        grid, draws = changed.grid, changed.draws
        self.where = draws.unit(Unknown(What.COOLER_SITS))
        exponent = draws.between(Unknown(What.COOLER_FILM), *UA_FLOW_EXPONENTS)
        middle = float(np.median(grid.litres_h[grid.on])) if changed.known_flow else np.nan
        at = change.cooler_flow_l_h or middle
        kind = "ice" if change.coolant == "ice" and change.coolant_degc is None else "cooler"
        own = changed.own.get(kind, Own(1.0, 0.0 if change.cooler_effectiveness is not None else OWN_U))
        factor = own.middle * draws.times(Unknown(What.THIS_CAR, "cooler"), own.spread)
        if change.cooler_effectiveness is not None:
            size = own.narrowed(*bounds(change.cooler_effectiveness))
            share = np.minimum(draws.between(Unknown(What.EFFECTIVENESS), *size), 0.999)
            ntu = -np.log1p(-share) * factor
            ua = ntu * capacity_flow_w_k(at) if np.isfinite(at) else np.full_like(share, np.nan)
        else:
            assert change.cooler_ua_w_k is not None
            ua = draws.between(Unknown(What.UA), *own.narrowed(*bounds(change.cooler_ua_w_k))) * factor
            at = change.cooler_flow_l_h or (middle if np.isfinite(middle) else changed.car.engine.idle_flow_l_h)
            ntu = ua / capacity_flow_w_k(at)
        blown = np.ones((1, len(grid.on)))
        if change.coolant == "air":
            still = draws.between(Unknown(What.STILL_AIR), *IDLE_AIR_SHARE)
            blown = np.where(grid.idle, still, 1.0)
        if changed.known_flow:
            # A size given without a flow holds at the session's own flow, whatever that is; one given at a stated flow is scaled to the drawn flow.
            here = changed.litres_h if change.cooler_flow_l_h or change.cooler_effectiveness is None else grid.litres_h
            here = np.where(grid.on, np.fmax(here, 0.05), at)
            ntu = ntu * blown * (here / at) ** (exponent - 1)
        else:
            ntu = ntu * blown * draws.times(Unknown(What.FLOW_UNKNOWN), 0.4)
        self.share = -np.expm1(-ntu)
        self.ua_w_k = ua
        self._coolant()
        self.assumptions = self._assumed(float(at))

    def _coolant(self) -> None:
        change, grid, draws = self.change, self.to.grid, self.to.draws
        air = grid.course.ambient_degc + change.hotter_degc
        if change.coolant_degc is not None:
            self.coolant = np.full((1, 1), change.coolant_degc)
        elif change.coolant == "ice":
            self.coolant = np.zeros((1, 1))
        elif not np.isfinite(air):
            raise InputError(
                f"the outside temperature of {grid.course.name} is not known: give it, or the coolant's temperature, for the cooler"
            )
        elif change.coolant == "water":
            self.coolant = air + draws.between(Unknown(What.WATER), *WATER_OVER_AMBIENT_DEGC)
        elif change.coolant == "spray":
            self.coolant = air - draws.between(Unknown(What.SPRAY), *SPRAY_BELOW_AMBIENT_DEGC)
        else:
            self.coolant = air + draws.normal(Unknown(What.COOLER_AIR), COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC)

    def drop(self, leaving: np.ndarray, rise: np.ndarray) -> np.ndarray:
        """By how much it cools fuel that would otherwise arrive at `leaving`, degC (DRAWS, m)."""
        before = leaving - self.where * np.maximum(rise, 0.0)
        if self.change.coolant == "ice" and self.change.coolant_degc is None:
            return self._melting(before)
        wanted = self.share * np.maximum(before - self.coolant, 0.0)
        return np.where(self.to.grid.on, wanted, 0.0)

    def _melting(self, before: np.ndarray) -> np.ndarray:
        """An ice can: at 0 degC until the ice has melted, then water that warms up."""
        grid, change = self.to.grid, self.change
        share = np.broadcast_to(self.share, before.shape)
        watts_k = capacity_flow_w_k(1.0) * np.broadcast_to(self.to.litres_h, before.shape)
        wall = self.to.draws.between(Unknown(What.CAN_WALL), *ICE_WALL_W_K)[:, 0]
        about = grid.course.ambient_degc if np.isfinite(grid.course.ambient_degc) else 25.0
        kg = change.ice_kg or USUAL_ICE_KG
        left = np.full(len(before), kg * MELT_J_KG)
        water, made = np.zeros(len(before)), np.zeros_like(before)
        running_s = 0.0
        for row, on in enumerate(grid.on):
            running_s += STEP_S * on
            degrees = share[:, row] * np.maximum(before[:, row] - water, 0.0) * on
            made[:, row] = degrees
            if change.ice_minutes is not None:
                if running_s > 60 * change.ice_minutes:
                    made[:, row] = 0.0
                continue
            gained = (degrees * watts_k[:, row] + wall * (about + 15 * on - water)) * STEP_S
            over = np.maximum(gained - left, 0.0)
            left = np.maximum(left - gained, 0.0)
            water = water + over / (kg * WATER_J_KG_K)
        return made

    def _assumed(self, at_l_h: float) -> list[Assumption]:
        change = self.change
        made: list[Assumption] = []
        if change.coolant_degc is None and change.coolant in ("air", "fan"):
            made.append(CoolerAir(COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC, change.coolant == "fan"))
        if change.coolant_degc is None and change.coolant == "water":
            made.append(CoolerWater(WATER_OVER_AMBIENT_DEGC))
        if change.coolant_degc is None and change.coolant == "spray":
            made.append(CoolerSpray(SPRAY_BELOW_AMBIENT_DEGC))
        if change.coolant == "ice" and change.coolant_degc is None:
            made.append(IceWater(change.ice_minutes or None, change.ice_kg or USUAL_ICE_KG))
        assumed = not self.to.known_flow and not change.cooler_flow_l_h and change.cooler_effectiveness is None
        return [*made, CoolerSize(change.cooler_effectiveness, change.cooler_ua_w_k, at_l_h, change.cooler_before, assumed)]
