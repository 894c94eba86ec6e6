"""A cooler or an ice can in a forecast: what it takes out of the fuel that passes it, by NTU at each moment's flow."""

from typing import TYPE_CHECKING

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.study.line.change import RETURN, Change, bounds, words_of
from hotfuel.study.line.cooler import UA_FLOW_EXPONENTS, capacity_flow_w_k
from hotfuel.study.line.draws import OWN_U, Own
from hotfuel.study.line.grid import STEP_S
from hotfuel.units import expanded

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC = 3.0, 3.0  # air that reaches a cooler's core (assumption)
WATER_OVER_AMBIENT_DEGC = (4.0, 15.0)  # of a water circuit of its own (common practice, no source)
SPRAY_BELOW_AMBIENT_DEGC = (1.0, 10.0)  # of a core kept wet: up to the wet bulb of a dry day (common practice, no source)
IDLE_AIR_SHARE = (0.1, 0.7)  # of its UA that a core without a fan keeps while the car stands (common practice, no source)
ICE_WALL_W_K = (0.5, 3.0)  # of the can against the air about it (common practice, no source)
MELT_J_KG, WATER_J_KG_K = 333.55e3, 4190.0


class Cooling:
    """A cooler: what it takes out of fuel that enters it, by NTU."""

    def __init__(self, changed: "Changed", change: Change) -> None:
        self.to, self.change = changed, change
        self.said: list[str] = []
        grid, draws = changed.grid, changed.draws
        self.where = draws.unit("where", "where in its section the cooler sits")
        exponent = draws.between("film of the cooler", "how the cooler's UA goes with the flow", *UA_FLOW_EXPONENTS)
        middle = float(np.median(grid.litres_h[grid.on])) if changed.known_flow else np.nan
        at = change.cooler_flow_l_h or middle
        kind = "ice" if change.coolant == "ice" and change.coolant_degc is None else "cooler"
        own = changed.own.get(kind, Own(1.0, 0.0 if change.cooler_effectiveness is not None else OWN_U))
        factor = own.middle * draws.times("own cooler", "how much of the cooler this car gets", own.spread)
        if change.cooler_effectiveness is not None:
            size = own.narrowed(*bounds(change.cooler_effectiveness))
            share = np.minimum(draws.between("cooler", "the cooler's effectiveness", *size), 0.999)
            ntu = -np.log1p(-share) * factor
            ua = ntu * capacity_flow_w_k(at) if np.isfinite(at) else np.full_like(share, np.nan)
        else:
            assert change.cooler_ua_w_k is not None
            ua = draws.between("cooler", "the cooler's UA", *own.narrowed(*bounds(change.cooler_ua_w_k))) * factor
            at = change.cooler_flow_l_h or (middle if np.isfinite(middle) else changed.car.engine.idle_flow_l_h)
            ntu = ua / capacity_flow_w_k(at)
        blown = np.ones((1, len(grid.on)))
        if change.coolant == "air":
            still = draws.between("still air", "how much air passes the cooler while the car stands", *IDLE_AIR_SHARE)
            blown = np.where(grid.idle, still, 1.0)
        if changed.known_flow:
            # A cooler known at the session's own flow is known at that flow, whatever it is; one known at a stated flow is at the drawn one.
            here = changed.litres_h if change.cooler_flow_l_h or change.cooler_effectiveness is None else grid.litres_h
            here = np.where(grid.on, np.fmax(here, 0.05), at)
            ntu = ntu * blown * (here / at) ** (exponent - 1)
        else:
            ntu = ntu * blown * draws.times("unknown flow", "the fuel's flow, which nobody knows", 0.4)
        self.share = -np.expm1(-ntu)
        self.ua_w_k = ua
        self._coolant()
        self._say(at)

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
            self.coolant = air + draws.between("water", "how warm the cooler's water is", *WATER_OVER_AMBIENT_DEGC)
        elif change.coolant == "spray":
            self.coolant = air - draws.between("spray", "how far the spray cools", *SPRAY_BELOW_AMBIENT_DEGC)
        else:
            self.coolant = air + draws.normal(
                "air at the cooler", "how warm the air at the cooler is", COOLANT_OVER_AMBIENT_DEGC, COOLANT_U_DEGC
            )

    def drop(self, leaving: np.ndarray, rise: np.ndarray) -> np.ndarray:
        """Degrees that it takes out of fuel which would otherwise come to its place at `leaving`, (DRAWS, m)."""
        before = leaving - self.where * np.maximum(rise, 0.0)
        if self.change.coolant == "ice" and self.change.coolant_degc is None:
            return self._melting(before)
        wanted = self.share * np.maximum(before - self.coolant, 0.0)
        return np.where(self.to.grid.on, wanted, 0.0)

    def _melting(self, before: np.ndarray) -> np.ndarray:
        """An ice can: at 0 degC until the ice is gone, then water that warms up."""
        grid, change = self.to.grid, self.change
        share = np.broadcast_to(self.share, before.shape)
        watts_k = capacity_flow_w_k(1.0) * np.broadcast_to(self.to.litres_h, before.shape)
        wall = self.to.draws.between("can", "what the ice can's wall takes up", *ICE_WALL_W_K)[:, 0]
        about = grid.course.ambient_degc if np.isfinite(grid.course.ambient_degc) else 25.0
        kg = change.ice_kg or 3.0
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

    def _say(self, at_l_h: float) -> None:
        change, shown = self.change, self.to.shown

        def differences(degc: float) -> str:
            return shown.text(degc, "temperature difference", 0)

        if change.coolant_degc is None and change.coolant in ("air", "fan"):
            self.said.append(
                f"The cooler sees air {differences(COOLANT_OVER_AMBIENT_DEGC)} ±{differences(float(expanded(COOLANT_U_DEGC)))} above outside air"
                + (
                    ", and a tenth to seven tenths of its air while the car stands (common practice, no source)."
                    if change.coolant == "air"
                    else "."
                )
            )
        if change.coolant == "ice" and change.coolant_degc is None:
            lasts = (
                f"{change.ice_minutes:g} min"
                if change.ice_minutes
                else f"until {change.ice_kg or 3.0:g} kg are melted by the fuel and through the can's wall"
            )
            self.said.append(f"Ice water at {shown.text(0.0, 'temperature')} for {lasts}.")
        if change.cooler_effectiveness is not None:
            flow = (
                f"at {shown.text(at_l_h, 'volume flow')}" if np.isfinite(at_l_h) else "at this session's flow, which is not known"
            )
            size = f"An effectiveness of {words_of(change.cooler_effectiveness)} {flow}, less at more flow and more at less (NTU)"
        else:
            assert change.cooler_ua_w_k is not None
            size = f"A UA of {words_of(change.cooler_ua_w_k, 'W/K')}, less effective at more flow (NTU)"
        where = (
            "in the return"
            if change.cooler_before == RETURN
            else f"none to all of the rise before {place_words(change.cooler_before)} comes after the cooler"
        )
        self.said.append(f"{size}, only while fuel flows; {where}.")
