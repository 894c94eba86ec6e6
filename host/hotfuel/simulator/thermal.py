"""Heat in a carburetted car, step by step: engine, under-bonnet air, pump, carburettor and the fuel on its way from tank to bowl.

Lumped bodies exchange heat with each other and with the air; the fuel moves through the lines as a plug (plug_flow.py). Under way the fuel passes
pump and lines quickly and takes up little for each litre; at idle more; after the stop the engine's heat goes on coming and nothing carries it away.
Figures are orders of magnitude from common practice, no source, unless one is named. Plain numbers, not arrays: a step depends on the one before.
"""

import bisect
import math
from dataclasses import dataclass

import numpy as np

from hotfuel.fuel import Fuel, fuel_from
from hotfuel.simulator.drives import STEP_S, Profile, wander
from hotfuel.simulator.plug_flow import CP_J_KG_K, DENSITY_KG_PER_L, J_PER_ML_K, HeatFactor, Line
from hotfuel.simulator.scenarios import Scenario

FUEL_HEAT_J_KG = 43e6  # lower heating value of gasoline (handbook)
VAPORISATION_J_KG = 350e3  # Cengel, table A-27
ICE_J_KG, WATER_J_KG_K, AIR_J_KG_K = 334e3, 4186.0, 1006.0  # handbook
_TO_COOLANT, _TO_EXHAUST = 0.30, 0.34  # shares of the fuel's heat
_AT_VENTURI = 0.12  # share of the fuel's evaporation that cools the carburettor's body
_BLEED_S = 75.0  # line pressure after the stop, through valves and needle
_TRAPPED_SHARE = 0.3  # of the vapour pressure of the hottest fuel in the line, that leaking valves and needle let build up
_PUMP_COPES = 20.0  # V/L (ASTM D4814-18 X1.10.2 ties trouble to it)
ELECTRIC_PUMP_W = 18.0  # what an electric pump puts into the fuel
SINK_SHARE = 0.7  # of the radiator's warm air, that passes where fuel lines are

TRUTH = (
    *(
        f"{place}_degc"
        for place in ("tank", "pump", "pump_outlet", "carb_inlet", "bowl", "bonnet", "ambient", "block", "coolant")
    ),
    *("pump_body_degc", "carburettor_degc", "line_heat_w", "pump_heat_w", "hose_heat_w", "flow_l_h", "used_l_h"),
    *("fuel_pressure_kpa", "pump_inlet_pressure_kpa", "ambient_pressure_kpa", "bowl_share", "tank_l"),
)


@dataclass(frozen=True)
class Weather:
    """Air over time, arrays (n,). wind: about 0.5 on a calm day, never below 0."""

    ambient_degc: np.ndarray
    pressure_kpa: np.ndarray
    wind: np.ndarray


def weather(scenario: Scenario, profile: Profile, rng: np.random.Generator) -> Weather:
    """The day of this run. Pressure by the U.S. Standard Atmosphere 1976, temperature falling by 6.5 degC per 1000 m climbed."""
    count = len(profile.time_s)
    offset_degc, offset_kpa = scenario.variation * rng.standard_normal(2) * (1.5, 0.4)
    altitude = scenario.altitude_m + profile.climbed_m
    return Weather(
        scenario.ambient_degc + offset_degc - 0.0065 * profile.climbed_m + 0.3 * scenario.variation * wander(rng, count, 240.0),
        101.325 * (1 - 0.0065 * altitude / 288.15) ** 5.25588 + offset_kpa,
        np.maximum(0.5 + 0.5 * scenario.variation * wander(rng, count, 180.0), 0.0),
    )


class Boiling:
    """The fuel's boiling as the steps need it: onset by pressure, and how many times the heat of the liquid a degree above the onset takes."""

    def __init__(self, fuel: Fuel) -> None:
        pressure = np.arange(50.0, 320.0, 2.5)
        onset = np.asarray(fuel.bubble_point_degc(pressure))
        self._pressure, self._onset = pressure.tolist(), onset.tolist()
        middle_kpa = 94.0  # shapes above the onset hardly change with pressure
        degc = float(fuel.bubble_point_degc(middle_kpa)) + np.arange(-1.0, 46.0)
        heat = np.diff(np.asarray(fuel.enthalpy_kj_per_kg(degc, middle_kpa)))
        self._above = np.arange(-1.0, 45.0)
        self._times = np.concatenate([[1.0], heat[1:] / heat[0]])
        self._vapour = np.concatenate([[0.0], np.asarray(fuel.vapour_liquid_ratio(degc[1:-1], middle_kpa))])

    def onset_degc(self, pressure_kpa: float) -> float:
        """Where boiling begins at an absolute pressure."""
        return _between(pressure_kpa, self._pressure, self._onset)

    def pressure_kpa(self, temperature_degc: float) -> float:
        """Bubble pressure, 50 kPa at least."""
        return _between(temperature_degc, self._onset, self._pressure)

    def factor(self, fuel: np.ndarray, onset_degc: float) -> HeatFactor | None:
        """For Line.step; None where nothing boils."""
        if np.maximum.reduce(fuel) <= onset_degc:
            return None
        return lambda temperature_degc: np.interp(temperature_degc - onset_degc, self._above, self._times)

    def times(self, above_degc: float) -> float:
        """How many times the liquid's heat a degree takes, so far above the onset."""
        return float(np.interp(above_degc, self._above, self._times)) if above_degc > 0 else 1.0

    def vapour_liquid_ratio(self, above_degc: float) -> float:
        """V/L so many degC above onset."""
        return float(np.interp(above_degc, self._above, self._vapour)) if above_degc > 0 else 0.0


def _between(x: float, xs: list[float], ys: list[float]) -> float:
    """Linear interpolation of plain numbers, held at the ends."""
    right = min(max(bisect.bisect_right(xs, x), 1), len(xs) - 1)
    share = min(max((x - xs[right - 1]) / (xs[right] - xs[right - 1]), 0.0), 1.0)
    return ys[right - 1] + share * (ys[right] - ys[right - 1])


class ThermalCar:
    """The state of the car; `step` moves it on by STEP_S and returns the values of TRUTH. `start_rise_degc`: fuel in the tank over ambient."""

    def __init__(self, scenario: Scenario, ambient_degc: float, start_rise_degc: float) -> None:
        self.body, self.fixes, self.full_flow_l_h = scenario.body, scenario.fixes, scenario.engine.full_flow_l_h
        self.boiling = Boiling(fuel_from(dict(scenario.fuel)))
        body, fixes = self.body, self.fixes
        block = ambient_degc if scenario.start_block_degc is None else scenario.start_block_degc
        warm = (block - ambient_degc) / 60.0  # 0 cold, about 1 at working temperature
        self.ambient = ambient_degc
        self.block = self.coolant = block
        self.bay = self.bonnet = ambient_degc + 18 * warm
        self.exhaust = ambient_degc + 120 * warm
        self.tank = ambient_degc + start_rise_degc
        self.tank_l = scenario.fuel_l
        self.pump = ambient_degc + 25 * warm
        self.inlet_chamber = self.outlet_chamber = self.carb_inlet = self.tank + 6 * warm
        self.carburettor = ambient_degc + 18 * warm
        self.bowl, self.bowl_share = self.tank + 8 * warm, 1.0
        self.pressure_kpa = 0.0
        self.since_stop_s = math.inf
        self.chassis_line = Line(body.chassis_line_ml, body.chassis_line_w_k, self.tank, 30)
        self.bonnet_line = Line(body.bonnet_line_ml, body.bonnet_line_w_k * fixes.sleeve_share, self.tank + 3 * warm, 12)
        self.hose_air_w_k = body.hose_w_k * fixes.sleeve_share
        self.hose_exhaust_w_k = body.exhaust_to_hose_w_k * fixes.shield_share * fixes.sleeve_share
        self.hose = Line(body.hose_ml, self.hose_air_w_k + self.hose_exhaust_w_k, self.carb_inlet, 25)
        self.cooler = fixes.cooler and Line(fixes.cooler.volume_ml, fixes.cooler.ua_w_k, self.tank, 15)
        self.coil = fixes.ice and Line(fixes.ice.volume_ml, fixes.ice.ua_w_k, self.tank, 15)
        self.ice_kg, self.can_degc = (fixes.ice.ice_kg if fixes.ice else 0.0), 0.0
        self.shield = 0.5 + 0.5 * fixes.shield_share  # a shield beside the hose keeps half of its share off the rest of the bay

    def step(
        self, ambient_degc: float, ambient_kpa: float, wind: float, speed_km_h: float, used_l_h: float, running: bool
    ) -> tuple[float, ...]:
        """The next STEP_S."""
        self.ambient = ambient_degc
        self.since_stop_s = 0.0 if running else self.since_stop_s + STEP_S
        fan = running or self.since_stop_s < self.fixes.fan_run_on_min * 60
        radiator_w = self._engine(used_l_h, speed_km_h, running, fan)
        self._bay(radiator_w, wind, speed_km_h, fan)
        returned_l_h = self.fixes.return_flow_l_h if running else 0.0
        refill_l_h = min((1.0 - self.bowl_share) * 40.0, 30.0) if running else 0.0
        flow_l_h = used_l_h + refill_l_h + returned_l_h
        suction_kpa = (
            self.body.lift_kpa + self.body.suction_loss_full_kpa * (flow_l_h / self.full_flow_l_h) ** 2 if running else 0.0
        )
        inlet_kpa = ambient_kpa + self.pressure_kpa if self.fixes.electric_pump else ambient_kpa - suction_kpa
        inlet_onset, line_onset = self.boiling.onset_degc(inlet_kpa), self.boiling.onset_degc(ambient_kpa + self.pressure_kpa)
        line_w, pump_w = self._to_the_hose(flow_l_h / 3.6, speed_km_h, fan, inlet_onset, line_onset)
        self._carburettor(used_l_h, (flow_l_h - returned_l_h) / 3.6, self.boiling.onset_degc(ambient_kpa))
        self._tank(returned_l_h, flow_l_h - returned_l_h, speed_km_h)
        self._pressure(ambient_kpa, inlet_onset, running)
        return (
            *(
                self.tank,
                self.inlet_chamber,
                self.outlet_chamber,
                self.carb_inlet,
                self.bowl,
                self.bonnet,
                ambient_degc,
                self.block,
                self.coolant,
            ),
            *(self.pump, self.carburettor, line_w, pump_w, self.hose.heat_w, flow_l_h, used_l_h),
            *(self.pressure_kpa, inlet_kpa, ambient_kpa, self.bowl_share, self.tank_l),
        )

    def _engine(self, used_l_h: float, speed_km_h: float, running: bool, fan: bool) -> float:
        """Block, coolant and exhaust manifold; returns what the radiator gives off."""
        body = self.body
        burnt_w = used_l_h * DENSITY_KG_PER_L / 3600 * FUEL_HEAT_J_KG
        opening = min(max((self.coolant - 82.0) / 10.0, 0.0), 1.0)  # thermostat
        radiator_w = opening * ((250.0 if running else 60.0 if fan else 12.0) + 7.5 * speed_km_h) * (self.coolant - self.ambient)
        carried = (4000.0 if running else 150.0) * (self.block - self.coolant)
        self.block += (
            STEP_S / body.block_j_k * (_TO_COOLANT * burnt_w - carried - body.block_to_air_w_k * (self.block - self.bonnet))
        )
        self.coolant += STEP_S / body.coolant_j_k * (carried - radiator_w)
        # the gas gives the manifold a fifth of what it would give a cold one at 700 degC above the air
        from_gas = 0.2 * _TO_EXHAUST * burnt_w / 900.0 * (self.ambient + 700.0 - self.exhaust)
        away = (self.body.exhaust_to_air_w_k * self.shield + 4.0 + 0.12 * speed_km_h) * (self.exhaust - self.bonnet)
        self.exhaust += STEP_S / body.exhaust_j_k * (from_gas - away)
        return radiator_w

    def _bay(self, radiator_w: float, wind: float, speed_km_h: float, fan: bool) -> None:
        """Under-bonnet air follows at once; the bay's light metal holds heat."""
        body = self.body
        blown = AIR_J_KG_K * (0.05 + 0.025 * wind + (0.37 if fan else 0.0) + 0.013 * speed_km_h)
        block, exhaust, metal = body.block_to_air_w_k, body.exhaust_to_air_w_k * self.shield, 25.0
        heat = block * self.block + exhaust * self.exhaust + metal * self.bay + blown * self.ambient + SINK_SHARE * radiator_w
        self.bonnet = heat / (block + exhaust + metal + blown)
        self.bay += (
            STEP_S
            / body.bay_j_k
            * (metal * (self.bonnet - self.bay) - (6.0 + 3.0 * wind + 0.15 * speed_km_h) * (self.bay - self.ambient))
        )

    def _to_the_hose(
        self, flow_ml_s: float, speed_km_h: float, fan: bool, inlet_onset: float, line_onset: float
    ) -> tuple[float, float]:
        """Fuel from the tank to the carburettor's inlet; returns the heat taken up before the pump and in it, W."""
        body, fixes = self.body, self.fixes
        fuel, pump_w = self.tank, 0.0
        if fixes.electric_pump and flow_ml_s > 0:
            pump_w = ELECTRIC_PUMP_W
            fuel += pump_w / (flow_ml_s * J_PER_ML_K)
        first = fuel
        around = self.ambient + 5.0 + 0.02 * (self.exhaust - self.ambient)
        fuel = self.chassis_line.step(STEP_S, flow_ml_s, fuel, around)
        fuel = self.bonnet_line.step(
            STEP_S, flow_ml_s, fuel, self.bonnet, factor=self.boiling.factor(self.bonnet_line.fuel_degc, inlet_onset)
        )
        if fixes.electric_pump:
            self.inlet_chamber, self.outlet_chamber, self.pump = self.tank, first, self.ambient + 2.0
        else:
            between, leaving = self.inlet_chamber, self.outlet_chamber
            self.inlet_chamber, inlet_w = self._chamber(between, fuel, flow_ml_s, inlet_onset)
            self.outlet_chamber, outlet_w = self._chamber(leaving, between, flow_ml_s, line_onset)
            fuel, pump_w = leaving, inlet_w + outlet_w
            from_air = body.pump_to_air_w_k * (self.bonnet - self.pump + 0.03 * fixes.shield_share * (self.exhaust - self.pump))
            self.pump += STEP_S / body.pump_j_k * (body.pump_to_block_w_k * (self.block - self.pump) + from_air - pump_w)
        if self.cooler and fixes.cooler:
            blown = 1.0 if fixes.cooler.fan and fan else 0.06 + min((speed_km_h / 90.0) ** 0.6, 0.94)
            fuel = self.cooler.step(STEP_S, flow_ml_s, fuel, self.ambient + (2.0 if speed_km_h > 5 else 6.0), blown)
        if self.coil and fixes.ice:
            fuel = self.coil.step(STEP_S, flow_ml_s, fuel, self.can_degc)
            gained_j = (1.5 * (self.bonnet - self.can_degc) - self.coil.heat_w) * STEP_S
            if self.ice_kg > 0:
                self.ice_kg -= gained_j / ICE_J_KG
            else:
                self.can_degc += gained_j / (WATER_J_KG_K * fixes.ice.ice_kg)
        about = (self.hose_air_w_k * self.bonnet + self.hose_exhaust_w_k * self.exhaust) / (
            self.hose_air_w_k + self.hose_exhaust_w_k
        )
        self.carb_inlet = self.hose.step(
            STEP_S, flow_ml_s, fuel, about, factor=self.boiling.factor(self.hose.fuel_degc, line_onset)
        )
        return self.chassis_line.heat_w + self.bonnet_line.heat_w, pump_w

    def _chamber(self, fuel: float, enters: float, flow_ml_s: float, onset_degc: float) -> tuple[float, float]:
        """One of the pump's mixed chambers: fuel after the step, heat from the pump's body, W."""
        film = self.body.chamber_w_k * (0.2 + 0.8 * (flow_ml_s * 0.36) ** 0.8)
        gained_w = film * (self.pump - fuel)
        warmer = gained_w / (self.body.chamber_ml * J_PER_ML_K * self.boiling.times(fuel - onset_degc))
        renewed = flow_ml_s / self.body.chamber_ml * (enters - fuel)  # what leaves has the temperature of before
        return fuel + STEP_S * (warmer + renewed), gained_w

    def _carburettor(self, used_l_h: float, arriving_ml_s: float, onset_degc: float) -> None:
        """Body and bowl. What boils off leaves through the vent and takes its heat along; a float keeps the level while fuel comes."""
        body = self.body
        held_ml = body.bowl_ml * max(self.bowl_share, 0.05)
        to_fuel = body.carburettor_to_fuel_w_k * max(self.bowl_share, 0.1) * (self.carburettor - self.bowl)
        times = self.boiling.times(self.bowl - onset_degc)
        arriving_ml = arriving_ml_s * STEP_S
        self.bowl += to_fuel * STEP_S / (held_ml * J_PER_ML_K * times) + (self.carb_inlet - self.bowl) * min(
            arriving_ml / held_ml, 1.0
        )
        boiled_ml = max(to_fuel, 0.0) * (1 - 1 / times) * STEP_S / VAPORISATION_J_KG / DENSITY_KG_PER_L * 1000
        self.bowl_share = max(self.bowl_share + (arriving_ml - used_l_h / 3.6 * STEP_S - boiled_ml) / body.bowl_ml, 0.0)
        from_manifold = body.carburettor_to_manifold_w_k * self.fixes.spacer_share * (self.block - self.carburettor)
        from_air = body.carburettor_to_air_w_k * (self.bonnet - self.carburettor)
        evaporation_w = _AT_VENTURI * used_l_h * DENSITY_KG_PER_L / 3600 * VAPORISATION_J_KG
        self.carburettor += STEP_S / body.carburettor_j_k * (from_manifold + from_air - to_fuel - evaporation_w)

    def _tank(self, returned_l_h: float, leaving_l_h: float, speed_km_h: float) -> None:
        """A return line brings its fuel back a fifth cooler than it left the carburettor's inlet."""
        heat_w = self.body.tank_to_air_w_k * (self.ambient + 2.0 - self.tank)
        heat_w += 0.35 * (self.exhaust - self.ambient) if speed_km_h > 5 else 0.0
        heat_w += returned_l_h / 3.6 * J_PER_ML_K * 0.8 * (self.carb_inlet - self.tank)
        self.tank += heat_w * STEP_S / (self.tank_l * DENSITY_KG_PER_L * CP_J_KG_K)
        self.tank_l = max(self.tank_l - leaving_l_h * STEP_S / 3600, 1.0)

    def _pressure(self, ambient_kpa: float, inlet_onset: float, running: bool) -> None:
        """Gauge pressure of the line: the pump's while it turns and passes liquid; then it bleeds off, or fuel boiling in the hose holds it up."""
        if running:
            vapour = 0.0 if self.fixes.electric_pump else self.boiling.vapour_liquid_ratio(self.inlet_chamber - inlet_onset)
            wanted = self.body.pump_pressure_kpa * min(max(1 - (vapour - _PUMP_COPES) / 30.0, 0.15), 1.0)
            self.pressure_kpa += (wanted - self.pressure_kpa) * STEP_S / 1.2
        else:
            boiling_kpa = self.boiling.pressure_kpa(float(self.hose.fuel_degc.max())) - ambient_kpa
            held = (
                0.0
                if self.fixes.return_flow_l_h
                else _TRAPPED_SHARE * min(max(boiling_kpa, 0.0), 1.25 * self.body.pump_pressure_kpa)
            )
            self.pressure_kpa = max(self.pressure_kpa * (1 - STEP_S / _BLEED_S), held)


def march(scenario: Scenario, profile: Profile, air: Weather, start_rise_degc: float = 1.0) -> dict[str, np.ndarray]:
    """Every quantity of TRUTH over the drive, arrays (n,)."""
    car = ThermalCar(scenario, float(air.ambient_degc[0]), start_rise_degc)
    columns = (air.ambient_degc, air.pressure_kpa, air.wind, profile.speed_km_h, profile.used_l_h, profile.running)
    rows = np.array([car.step(*values) for values in zip(*(column.tolist() for column in columns), strict=True)])
    return dict(zip(TRUTH, rows.T, strict=True))
