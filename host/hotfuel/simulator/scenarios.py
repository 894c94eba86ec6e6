"""Cars, days and fixes to simulate. Every name is invented; figures are orders of magnitude from common practice, no source, unless one is named."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from hotfuel.car import Probe
from hotfuel.errors import InputError
from hotfuel.simulator.drives import HOT_LAPS, QUEUE_AND_SOAK, STEADY_40_MPH, SUMMER_DRIVE, TRACK_DAY, Engine, Phase

SUMMER_FUEL = {"vapour_pressure_kpa": 60.0, "t10_degc": 55.0, "t50_degc": 100.0, "t90_degc": 165.0, "ethanol_vol": 0.0}
WINTER_FUEL = {"vapour_pressure_kpa": 90.0, "t10_degc": 45.0, "t50_degc": 95.0, "t90_degc": 165.0, "ethanol_vol": 0.0}
WHERE = ("tank", "pump", "pump_outlet", "carb_inlet", "bowl", "bonnet", "ambient", "block")


@dataclass(frozen=True)
class Cooler:
    """A liquid-to-air fuel cooler behind the pump: heat per degree with its fan on, and how much of that the wind of driving gives without."""

    ua_w_k: float = 9.0
    volume_ml: float = 90.0
    fan: bool = False


@dataclass(frozen=True)
class IceCan:
    """A coil of the line in a can of ice water, behind the pump."""

    ice_kg: float = 3.0
    ua_w_k: float = 14.0
    volume_ml: float = 70.0


@dataclass(frozen=True)
class Fixes:
    """What was changed on the car. Shares multiply the heat that gets in: 1 as built, 0.35 a good sleeve."""

    sleeve_share: float = 1.0  # insulating sleeve on the line under the bonnet and on the hose
    shield_share: float = 1.0  # heat shield between exhaust and hose, pump and carburettor
    spacer_share: float = 1.0  # spacer between inlet manifold and carburettor
    return_flow_l_h: float = 0.0  # line from the carburettor's inlet back to the tank
    electric_pump: bool = False  # in the tank; the mechanical one is off
    cooler: Cooler | None = None
    ice: IceCan | None = None
    fan_run_on_min: float = 0.0  # radiator fan after the stop


@dataclass(frozen=True)
class Body:
    """Heat paths of the car: heat per degree in W/K, heat capacities in J/K, volumes in mL. Tuned so that the default car stands inside what 27 cars
    did in 1930 (SAE 310017: fuel at the pump's outlet at a steady 40 mph on average 22.8 degC above ambient, the worst 40.6)."""

    chassis_line_ml: float = 110.0
    chassis_line_w_k: float = 0.6
    bonnet_line_ml: float = 40.0
    bonnet_line_w_k: float = 0.7
    hose_ml: float = 80.0
    hose_w_k: float = 0.7
    exhaust_to_hose_w_k: float = 0.03
    chamber_ml: float = 20.0  # each of the pump's two
    chamber_w_k: float = 4.0  # body to fuel at 10 L/h, each
    pump_j_k: float = 800.0
    pump_to_block_w_k: float = 1.3
    pump_to_air_w_k: float = 2.0
    carburettor_j_k: float = 1600.0
    carburettor_to_manifold_w_k: float = 2.0
    carburettor_to_air_w_k: float = 1.6
    carburettor_to_fuel_w_k: float = 6.0
    bowl_ml: float = 250.0
    block_j_k: float = 75000.0
    coolant_j_k: float = 50000.0
    block_to_air_w_k: float = 14.0
    exhaust_to_air_w_k: float = 6.0
    exhaust_j_k: float = 9000.0
    bay_j_k: float = 16000.0  # sheet metal and everything light under the bonnet
    tank_l: float = 60.0
    tank_to_air_w_k: float = 14.0
    pump_pressure_kpa: float = 37.9  # 5.5 psi
    lift_kpa: float = 2.2  # 0.3 m
    suction_loss_full_kpa: float = 2.0


@dataclass(frozen=True)
class FittedProbe:
    """A thermocouple: where it sits, how (as in the car file), and what its wire and amplifier are wrong by, the same in every run."""

    where: str
    probe: Probe
    error_degc: float = 0.0

    def __post_init__(self) -> None:
        if self.where not in WHERE:
            raise InputError(f'there is no place "{self.where}" on the simulated car; there are {", ".join(WHERE)}')


def _probe(**fields: Any) -> Probe:
    return Probe.model_validate(fields)


PROBES = (
    FittedProbe("tank", _probe(mount="stem", sheath="1.6 mm", depth="10 mm", lag="1.5 s"), 0.4),
    FittedProbe("pump", _probe(mount="axial", sheath="1.6 mm", lag="1.5 s", tolerance="E230 special"), -0.3),
    FittedProbe("carb_inlet", _probe(mount="stem", sheath="1.6 mm", depth="10 mm", lag="1.5 s"), 0.5),
)
EIGHT_PROBES = tuple(
    next(
        (fitted for fitted in PROBES if fitted.where == where),
        FittedProbe(where, _probe(mount="axial", sheath="1.6 mm", lag="1.5 s"), 0.1),
    )
    for where in WHERE
)


@dataclass(frozen=True)
class Scenario:
    """One run of one car on one day. The same scenario with the same seed is the same run; another seed is another day and driver.

    variation: how much days and drivers differ; 0 makes every seed the same drive on the same day (probe noise stays), so that two scenarios
    that differ in their fixes only differ by exactly what the fix does.
    """

    name: str = "summer drive"
    fix: str = ""  # what this car has and "as built" has not, in a session's words
    drive: tuple[Phase, ...] = SUMMER_DRIVE
    seed: int = 1
    ambient_degc: float = 30.0
    altitude_m: float = 350.0  # where the drive begins
    fuel: Mapping[str, float] = field(default_factory=lambda: dict(SUMMER_FUEL))
    fuel_l: float = 38.0
    engine: Engine = field(default_factory=Engine)
    body: Body = Body()
    fixes: Fixes = Fixes()
    probes: tuple[FittedProbe, ...] = PROBES
    start_block_degc: float | None = None  # None: a cold start at ambient
    variation: float = 1.0

    def __post_init__(self) -> None:
        for name, least, greatest in (
            ("ambient_degc", -30, 55),
            ("altitude_m", -430, 5000),
            ("fuel_l", 3, self.body.tank_l),
            ("variation", 0, 5),
        ):
            if not least <= getattr(self, name) <= greatest:
                raise InputError(f"{name} of the simulated car is {getattr(self, name):g}; allowed is {least:g} to {greatest:g}")
        if not 1 <= len(self.probes) <= 8:
            raise InputError(f"the simulated car has {len(self.probes)} probes; a board takes 1 to 8")


QUEUE = Scenario(name="as built", drive=QUEUE_AND_SOAK, start_block_degc=80.0)


def scenarios() -> dict[str, Scenario]:
    """All scenarios there are, by name. "summer drive" is the demo's: its fuel comes near its limit in the queue and passes it in the hot soak.

    "as built" and the rest, each with one thing changed and else alike, are for comparisons; each again with ", hot laps" behind its name, at full throttle.
    """
    fixed = {
        "sleeved line": Fixes(sleeve_share=0.35),
        "heat shield": Fixes(shield_share=0.4),
        "spacer": Fixes(spacer_share=0.3),
        "return line": Fixes(return_flow_l_h=25.0),
        "pump in the tank": Fixes(electric_pump=True),
        "cooler": Fixes(cooler=Cooler()),
        "cooler with fan": Fixes(cooler=Cooler(fan=True)),
        "ice can": Fixes(ice=IceCan()),
        "fan run-on": Fixes(fan_run_on_min=8.0),
    }
    alone = [
        Scenario(),
        QUEUE,
        *(replace(QUEUE, name=name, fix=name, fixes=fixes) for name, fixes in fixed.items()),
        replace(QUEUE, name="nothing changed"),  # a second name for the same car: a comparison must not find a difference
        replace(QUEUE, name="winter fuel", fix="winter fuel", fuel=dict(WINTER_FUEL)),
        replace(QUEUE, name="at 1600 m", altitude_m=1600.0, ambient_degc=28.0),
        Scenario(name="track day", drive=TRACK_DAY, start_block_degc=80.0),
        Scenario(name="steady 40 mph", drive=STEADY_40_MPH, start_block_degc=80.0, ambient_degc=25.0, altitude_m=0.0),
    ]
    alone += [
        replace(scenario, name=f"{scenario.name}, hot laps", drive=HOT_LAPS)
        for scenario in alone
        if scenario.name in {"as built", *fixed}
    ]
    return {scenario.name: scenario for scenario in alone}
