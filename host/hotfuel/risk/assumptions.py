"""The assumptions behind the limits for quantities not measured, in sentences: flow, the pump's pulses, its held column and pressure, the probes' lag."""

from hotfuel.car import Car
from hotfuel.places import place_words
from hotfuel.risk.suction import FALL_SHARE, RIGID_LENGTH_M, held_column_kpa, pulse_kpa
from hotfuel.units import Shown, convert


def assumptions(car: Car, shown: Shown, density_kg_m3: float) -> list[str]:
    """Sentences shown beside the limits of `car`. Only those that concern a place the car has."""
    pressures = {role.pressure for _, role in car.limit_places.values()}
    drawn = car.pump.kind != "electric_submerged" and "suction" in pressures
    pushed = "line" in pressures
    engine, said = car.engine, []
    full = shown.text(engine.full_flow_l_h, "volume flow")
    if drawn or pushed:
        driven = f" at {engine.full_speed_rpm:.0f} rpm" if car.pump.kind == "mechanical" else ""
        said.append(
            f"flow: where nothing measures it, a running engine is taken to be at full throttle ({full}{driven}), by lamp, live page and review alike. "
            'Rows "idle" are what the same car has at idle'
        )
    if drawn:
        most = pulse_kpa(car, engine.full_flow_l_h, engine.full_speed_rpm, density_kg_m3)
        length = car.suction.rigid_length_m
        column = f"up to {_short(shown, RIGID_LENGTH_M)}" if length is None else _short(shown, length)
        said.append(
            f"pulsation: the pump's strokes lower its inlet pressure by up to {shown.text(most, 'pressure')} at full throttle (the inertia of {column} of "
            'rigid line before it, "rigid_length" in the car file); half of that is in the limit, the whole range in its uncertainty'
        )
        held = held_column_kpa(car, density_kg_m3)
        if held > 0:
            said.append(f"standing: the pump's valves hold the lifted column, {shown.text(held, 'pressure')} below the tank")
    if pushed and car.pump.pressure_kpa > 0:
        if car.regulated:
            said.append(
                "injection after a stop: its line may hold its pressure for a while; only a sender sees that, and without one the limits standing are those "
                "at the air's pressure. Fuel beyond them at the injector or in its line is then a note and no warning; a warning comes from the restart on"
            )
        if car.injector_unsaid:
            said.append(
                f'line: a pump of {shown.text(car.pump.pressure_kpa, "pressure")} feeds injection, but no place has the role "injector", so the line is '
                "judged as before a carburettor and a hot stop can raise an alarm there: give the last place before the injectors that role in the car file"
            )
        if car.pump.pressure_full_kpa is None and car.regulated:
            by = shown.text(car.pump.pressure_kpa, "pressure")
            said.append(
                f"line pressure: taken as held at {by} by the injection's regulator; a tired pump or a blocked filter lowers it, and the limit with it: a "
                'sender in the line sees that ("pressure_full" in the car file, if a gauge read less at full throttle)'
            )
        elif car.pump.pressure_full_kpa is None:
            low = shown.text((1 - FALL_SHARE) * car.pump.pressure_kpa, "pressure")
            said.append(
                f"line pressure: falls with flow, at full throttle to anything down to {low}; the middle is in the limit, the range in its uncertainty "
                '("pressure_full" in the car file, if you measured it)'
            )
        else:
            said.append(
                f"line pressure: falls with flow to {shown.text(car.pump.pressure_full_kpa, 'pressure')} at full throttle, as the car file says"
            )
    probes = [place for place in car.places if place.name in car.limit_places and place.probe.mount != "clamp_rubber"]
    lags = ", ".join(
        f"{place_words(place.name)} {place.probe.lag_s:g} s{'' if place.probe.lag_stated else ' assumed'}" for place in probes
    )
    if car.fuel_table.measured_on is not None:
        said.append(
            f"fuel: as it was measured on {car.fuel_table.measured_on}; it loses its light ends with time, which raises the limit, and a fresh "
            "tankful has them again: measure what is in the tank"
        )
    if lags:
        said.append(
            f"lag: in the moving car a margin counts each probe's lag ({lags}; known to 30 %) times how fast its reading rises; "
            "these limits are for a steady temperature"
        )
    return said


def _short(shown: Shown, length_m: float) -> str:
    return f"{convert(length_m, 'length', 'in'):.1f} in" if shown.system == "us" else f"{1000 * length_m:.0f} mm"
