"""How a pump lowers the pressure at its inlet and raises it at its outlet: lift, acceleration, friction, pulses; the column held when it stops.

Where the flow is not measured the engine counts as at full throttle, flow and speed: there the pump's inlet pressure is lowest. Pressures in kPa.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from hotfuel.car import Car, Engine, Pump, Suction
from hotfuel.units import STANDARD_GRAVITY_M_S2

GASOLINE_KG_M3 = 740.0  # EN 228 allows 720 to 775 at 15 degC
GASOLINE_PA_S = 0.0005  # viscosity; published tables disagree by a factor of two
GAUGE_SHARE = 0.05  # a stated or measured gauge pressure is assumed known to 5 %
PULSE_C, PULSE_K = 0.4, 2.0  # one single-acting cylinder; most hydrocarbons (Hydraulic Institute, see pulse_kpa)
RIGID_LENGTH_M = 0.05  # the pump's stub and passage, where the car file does not give it (assumption, common practice, no source)
PULSE_MOST_KPA = 10.0  # a deeper pulse draws vapour, which cushions it (assumption, no source)
ELECTRIC_STROKES_PER_MIN = (
    1200.0  # a plunger pump; a rotary one has no pulses, which the range covers (assumption, common practice, no source)
)
FALL_SHARE = 0.5  # share of its pressure that a pump may lose from no flow to full flow (assumption, common practice, no source)


def suction_kpa(
    car: Car,
    flow_l_h: npt.ArrayLike,
    acceleration_m_s2: npt.ArrayLike,
    density_kg_m3: float = GASOLINE_KG_M3,
    engine_rpm: npt.ArrayLike | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """(depression at the pump's inlet against the tank, its standard uncertainty), kPa: lift + acceleration head + loss + pulses.

    rho (g h + a L) + loss + pulses. With `suction_idle` and `suction_full` in the car file (gauge readings, lift included) the loss follows the square
    of the flow between them; else it is calculated for steady flow (Darcy-Weisbach; Blasius friction when turbulent) and taken as 1 to 3 times that,
    because pumps suck in pulses. The pulses' own depression is anything from none to `pulse_kpa`: half of it, and the range over sqrt(12) as its
    uncertainty (GUM, JCGM 100:2008, 4.3.7). A nan flow is that of full throttle. Example: 3 m of line at 1 g take 21.8 kPa off.
    """
    speed = np.nan if engine_rpm is None or np.isnan(flow_l_h).all() else engine_rpm  # full throttle uses its own engine speed
    if np.ndim(flow_l_h) == 0 and np.ndim(acceleration_m_s2) == 0 and np.ndim(speed) == 0:
        numbers = (float(np.asarray(value)) for value in (flow_l_h, acceleration_m_s2, speed))
        flow, acceleration, rpm = (None if np.isnan(value) else value for value in numbers)
        return _steady_suction_kpa(car.suction, car.engine, car.pump, flow, acceleration, density_kg_m3, rpm)
    return _suction_kpa(
        car.suction, car.engine, car.pump, as_array(flow_l_h), as_array(acceleration_m_s2), density_kg_m3, as_array(speed)
    )


@lru_cache(maxsize=64)
def _steady_suction_kpa(
    suction: Suction,
    engine: Engine,
    pump: Pump,
    flow_l_h: float | None,
    acceleration_m_s2: float | None,
    density_kg_m3: float,
    engine_rpm: float | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Called again for every reading of a live recording."""
    values = as_array(flow_l_h), as_array(acceleration_m_s2)
    return _suction_kpa(suction, engine, pump, *values, density_kg_m3, as_array(engine_rpm))


def _suction_kpa(
    suction: Suction,
    engine: Engine,
    pump: Pump,
    flow: np.ndarray,
    acceleration_m_s2: np.ndarray,
    density_kg_m3: float,
    engine_rpm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    full_speed = np.isnan(flow) | np.isnan(engine_rpm)
    flow = np.where(np.isnan(flow), engine.full_flow_l_h, flow)
    lift = density_kg_m3 * STANDARD_GRAVITY_M_S2 * suction.lift_m / 1000
    head = density_kg_m3 * acceleration_m_s2 * suction.line_length_m / 1000
    idle, full = suction.suction_idle_kpa, suction.suction_full_kpa
    if idle is None and full is None:
        loss = 2 * line_loss_kpa(flow, suction.line_length_m, suction.line_bore_m, density_kg_m3)
        share = 0.5 / np.sqrt(3)
    else:
        only = full if full is not None else idle
        assert only is not None
        low = max((idle if idle is not None else 0.0) - lift, 0.0)
        high = max(only - lift, low)
        loss = low + (high - low) * _of_full_flow(engine, flow)
        share = GAUGE_SHARE
    pulse = _pulse_kpa(suction, pump, flow, np.where(full_speed, engine.full_speed_rpm, engine_rpm), density_kg_m3)
    spread = np.sqrt((share * loss) ** 2 + (0.1 * head) ** 2 + pulse**2 / 12)
    return lift + head + loss + pulse / 2, spread


def pulse_kpa(car: Car, flow_l_h: float, engine_rpm: float, density_kg_m3: float = GASOLINE_KG_M3) -> float:
    """The largest pressure drop from a reciprocating pump's pulses at its inlet, kPa: the inertia of the column it moves to and fro, rho L/A dQ/dt.

    For one single-acting cylinder the greatest dQ/dt is C n Q / K in consistent units, C = 0.4, n in strokes per minute, K = 2 for most hydrocarbons:
    the Hydraulic Institute's acceleration head of reciprocating pumps, h = L V n C / (K g) (a sine's own is 0.33). L is the rigid column only, from the
    last soft hose or damper to the pump: a hose absorbs the pulses of the column before it. `rigid_length` in the car file, else up to 50 mm. A
    mechanical pump strokes once in two turns of the engine. Example: 50 mm in an 8 mm bore, 60 L/h, 5000 rpm: 6.1 kPa.
    """
    found = _pulse_kpa(car.suction, car.pump, as_array(flow_l_h), as_array(engine_rpm), density_kg_m3)
    return float(found)


def _pulse_kpa(suction: Suction, pump: Pump, flow: np.ndarray, engine_rpm: np.ndarray, density_kg_m3: float) -> np.ndarray:
    length = RIGID_LENGTH_M if suction.rigid_length_m is None else suction.rigid_length_m
    strokes = ELECTRIC_STROKES_PER_MIN if pump.kind == "electric_line" else engine_rpm / 2
    speed = np.maximum(flow, 0.0) / 3.6e6 / (np.pi / 4 * suction.line_bore_m**2)
    answer: np.ndarray = np.minimum(density_kg_m3 * length * speed * strokes * PULSE_C / PULSE_K / 1000, PULSE_MOST_KPA)
    return answer


def held_column_kpa(car: Car, density_kg_m3: float = GASOLINE_KG_M3) -> float:
    """How far below the tank the pump's inlet stands when it has stopped: its valves hold the lifted column, rho g h. Example: 0.3 m: 2.2 kPa.

    For a pump below the tank's surface the column is not counted: its valves may leak, or the line may have drained.
    """
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 * max(car.suction.lift_m, 0.0) / 1000


def delivery_kpa(car: Car, flow_l_h: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """(gauge pressure after a running pump, its standard uncertainty), kPa, where it is not measured; a nan flow is that of full throttle.

    From the car file's pressure at idle to `pressure_full` at full flow, with the square of the flow, each known to 5 %. Without `pressure_full` an
    injected engine's regulator holds it; in any other car it may fall to half: the middle of that range, and the range over sqrt(12).
    """
    flow = as_array(flow_l_h)
    share = np.where(np.isnan(flow), 1.0, np.clip(_of_full_flow(car.engine, flow), 0.0, 1.0))
    gauge = car.pump.pressure_kpa
    stated = gauge if car.regulated and car.pump.pressure_full_kpa is None else car.pump.pressure_full_kpa
    at_full = gauge * (1 - FALL_SHARE / 2) if stated is None else stated
    range_kpa = FALL_SHARE * gauge if stated is None else 0.0
    pressure = gauge + share * (at_full - gauge)
    return pressure, np.hypot(GAUGE_SHARE * pressure, share * range_kpa / np.sqrt(12))


def _of_full_flow(engine: Engine, flow: np.ndarray) -> np.ndarray:
    """0 at idle flow, 1 at full flow, varying with the square of the flow between."""
    span = max(engine.full_flow_l_h**2 - engine.idle_flow_l_h**2, 1e-9)
    return (flow**2 - engine.idle_flow_l_h**2) / span


def line_loss_kpa(flow_l_h: npt.ArrayLike, length_m: float, bore_m: float, density_kg_m3: float = GASOLINE_KG_M3) -> np.ndarray:
    """Friction loss of steady flow in a smooth round line, kPa: f L/d rho v^2/2, f = 64/Re below Re 2300, 0.3164 Re^-0.25 above (Blasius)."""
    speed = as_array(flow_l_h) / 3.6e6 / (np.pi / 4 * bore_m**2)
    reynolds = np.maximum(density_kg_m3 * speed * bore_m / GASOLINE_PA_S, 1e-9)
    friction = np.where(reynolds < 2300, 64 / reynolds, 0.3164 * reynolds**-0.25)
    return friction * length_m / bore_m * density_kg_m3 * speed**2 / 2000


def as_array(value: npt.ArrayLike | None) -> np.ndarray:
    """A number or array as floats, nan for None."""
    return np.asarray(np.nan if value is None else value, dtype=float)
