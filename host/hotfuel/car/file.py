"""The car file: places and probes, pressures, pump, fuel. TOML in, SI inside; every quantity is written with its unit.

`load(path_or_text)` gives a Car or raises InputError with one sentence per mistake: the key, what was seen, what is allowed. `EXAMPLE` is a
commented car file to start from.
"""

import math
import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    Field,
    StringConstraints,
    ValidationError,
    field_validator,
    model_validator,
)

from hotfuel import text, units
from hotfuel.car import mistakes
from hotfuel.car.fuel_table import FuelTable, Table
from hotfuel.car.quantities import (
    Acceleration,
    AirPressure,
    Altitude,
    Depression,
    EngineSpeed,
    Flow,
    FullSpeed,
    Lag,
    Length,
    Lift,
    Percent,
    Power,
    Pressure,
    Small,
    TankGauge,
    Volume,
)
from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.fuel import Fuel, fuel_from
from hotfuel.places import ROLES, Role, RoleName, behind_needle, is_behind_needle, role_named
from hotfuel.units import STANDARD_GRAVITY_M_S2, Shown
from hotfuel.wired import Inputs

EXAMPLE = resources.files("hotfuel").joinpath("car_example.toml").read_text(encoding="utf-8")

PLACE_NAME = re.compile(r"[a-z][a-z0-9_]{0,11}")  # it becomes a column name and 12 bytes on the wire
CLAMP_LAG_S = 25.0
_TEXT_MAX = 1 << 20  # bytes; a car file is a few kB, anything larger is a mistake


class Probe(Table):
    """How the junction is mounted. Sheath, depth and mount decide the placement error, which is larger than the amplifier's."""

    mount: Literal["stem", "axial", "clamp_metal", "clamp_insulated", "clamp_rubber"] = "stem"
    sheath_m: Small = Field(default=0.0016, alias="sheath")
    depth_m: Small = Field(default=0.010, alias="depth")
    tolerance: Literal["E230 special", "E230 standard", "IEC class 1", "IEC class 2", "IEC class 3"] = "E230 standard"
    junction: Literal["grounded", "ungrounded", "exposed"] = "ungrounded"
    extension_wire: Literal["none", "type K", "KX class 1", "KX class 2", "KCA class 2", "KCB class 2", "copper"] = "none"
    lag_s: Lag = Field(default=math.nan, alias="lag")  # nan, if not given, until `_usual_lag` sets it

    @model_validator(mode="after")
    def _usual_lag(self) -> "Probe":
        """The default lag: that of a sheath of this size in a line's fuel at cruise (10 L/h in an 8 mm bore), rounded to 0.1 s.

        Film and sheath: 1.25 s at 1.6 mm, growing with D^1.5; conduction through an insulated junction's filling: 0.26 s, growing with D^2
        (hotfuel.temperature.accuracy.probe_lag_s, within a tenth). Clamped on: 25 s (assumption, common practice, no source).
        """
        if math.isnan(self.lag_s):
            thick = self.sheath_m / 0.0016
            of_sheath = round(1.25 * thick**1.5 + (0.26 * thick**2 if self.junction == "ungrounded" else 0.0), 1)
            object.__setattr__(self, "lag_s", CLAMP_LAG_S if self.mount.startswith("clamp") else of_sheath)
        return self

    @property
    def lag_stated(self) -> bool:
        """True if the car file gives the lag."""
        return "lag_s" in self.model_fields_set

    @property
    def indicative(self) -> bool:
        """True for a clamp-on probe, which also reads the pipe and the air: it may raise warn, never act."""
        return self.mount in ("clamp_metal", "clamp_insulated")


class Place(Table):
    """One measuring place. `role` names the row of hotfuel.places.ROLES that says which pressure and criterion belong to it, if any."""

    name: str
    channel: int = Field(ge=0, le=7)
    role: RoleName
    probe: Probe = Probe()
    volume_from_previous_l: Volume | None = Field(default=None, alias="volume_from_previous")

    @property
    def kind(self) -> Role:
        """The role's row in hotfuel.places.ROLES."""
        return ROLES[self.role]

    @model_validator(mode="before")
    @classmethod
    def _outside(cls, given: Any) -> Any:
        if isinstance(given, dict) and isinstance(given.get("role"), str) and isinstance(given.get("name"), str):
            return {**given, "role": role_named(given["role"], given["name"])}
        return given

    @field_validator("name")
    @classmethod
    def _name(cls, name: str) -> str:
        if not PLACE_NAME.fullmatch(name) or is_behind_needle(name):
            raise InputError("allowed are 1 to 12 small letters, digits and _, a letter first, not ending in _needle")
        return name


class Tank(Table):
    """The tank: sealed or vented, and how its pressure is held."""

    sealed: bool = False
    gauge_pressure_kpa: TankGauge | None = Field(default=None, alias="gauge_pressure")
    cap_vacuum_relief_kpa: Depression = Field(default=2.0, alias="cap_vacuum_relief")
    volume_l: Volume | None = Field(default=None, alias="volume")


class Suction(Table):
    """Tank to pump. `suction_idle` and `suction_full`: depression at the pump's inlet as a gauge shows it, lift included."""

    lift_m: Lift = Field(default=0.0, alias="lift")
    line_length_m: Length = Field(default=3.0, alias="line_length")
    line_bore_m: Small = Field(default=0.008, alias="line_bore")
    acceleration_m_s2: Acceleration = Field(default=0.0, alias="acceleration")
    launch_acceleration_m_s2: Acceleration = Field(default=STANDARD_GRAVITY_M_S2, alias="launch_acceleration")
    suction_idle_kpa: Depression | None = Field(default=None, alias="suction_idle")
    suction_full_kpa: Depression | None = Field(default=None, alias="suction_full")
    rigid_length_m: Length | None = Field(default=None, alias="rigid_length")  # from the last soft hose to the pump


class Pump(Table):
    """The fuel pump: its kind, its pressure (gauge), and the V/L it still pumps."""

    kind: Literal["mechanical", "electric_line", "electric_submerged"] = "mechanical"
    pressure_kpa: Pressure = Field(default=units.parse("5 psi", "pressure"), alias="pressure")
    pressure_full_kpa: Pressure | None = Field(default=None, alias="pressure_full")  # at full throttle
    vapour_liquid_ratio: float | None = Field(default=None, ge=0, le=40, strict=False)

    @model_validator(mode="after")
    def _falls(self) -> "Pump":
        if self.pressure_full_kpa is not None and self.pressure_full_kpa > self.pressure_kpa:
            raise InputError(
                f"pressure_full ({self.pressure_full_kpa:.3g} kPa) is above pressure ({self.pressure_kpa:.3g} kPa): a pump's pressure falls "
                "with its flow; give the gauge's reading at idle as pressure and at full throttle as pressure_full"
            )
        return self


class Carburettor(Table):
    """The carburettor's bowl: the difference of its pressure from the air's."""

    vent_depression_kpa: Depression = Field(default=0.0, alias="vent_depression")
    boost_kpa: Pressure = Field(default=0.0, alias="boost")

    @model_validator(mode="before")
    @classmethod
    def _once_known(cls, given: Any) -> Any:
        """Older car files give the bowl's volume, which nothing uses."""
        return {name: value for name, value in given.items() if name != "bowl_volume"} if isinstance(given, dict) else given


class Engine(Table):
    """The engine: speed, displacement, power, and fuel flow."""

    idle_speed_rpm: EngineSpeed = Field(default=800.0, alias="idle_speed")
    full_speed_rpm: FullSpeed = Field(default=5000.0, alias="full_speed")  # the highest at full throttle
    pulses_per_revolution: float = Field(default=2.0, gt=0, le=60, strict=False)
    idle_flow_l_h: Flow = Field(default=3.0, alias="idle_flow")
    full_flow_l_h: Flow = Field(default=60.0, alias="full_flow")
    return_flow_l_h: Flow = Field(default=0.0, alias="return_flow")
    displacement_l: Volume | None = Field(default=None, alias="displacement")
    power_kw: Power | None = Field(default=None, alias="power")
    pulled: bool = True  # false: this car is not driven at full throttle, so coolers are judged by the whole drive

    @model_validator(mode="after")
    def _flows(self) -> "Engine":
        if self.full_flow_l_h < self.idle_flow_l_h:
            raise InputError(
                f"full_flow ({self.full_flow_l_h:g} L/h) is below idle_flow ({self.idle_flow_l_h:g} L/h): give the larger one as full_flow"
            )
        if self.return_flow_l_h > self.full_flow_l_h:
            raise InputError(
                f"return_flow ({self.return_flow_l_h:g} L/h) is above full_flow ({self.full_flow_l_h:g} L/h), which includes it: give the flow back to the tank"
            )
        return self


class Sensors(Table):
    """Inputs other than thermocouples. The fuel-pressure sender is ratiometric: per cent of its supply at 0 and at full scale."""

    fuel_pressure_range_kpa: Pressure = Field(default=units.parse("15 psi", "pressure"), alias="fuel_pressure_range")
    fuel_pressure_zero_percent: Percent = Field(default=10.0, alias="fuel_pressure_zero")
    fuel_pressure_full_percent: Percent = Field(default=90.0, alias="fuel_pressure_full")
    battery_divider: float = Field(default=11.0, gt=1, le=100, strict=False)

    @model_validator(mode="after")
    def _span(self) -> "Sensors":
        if self.fuel_pressure_full_percent <= self.fuel_pressure_zero_percent:
            raise InputError(
                "fuel_pressure_full is not above fuel_pressure_zero: give the sender's output at 0 and at its full range"
            )
        return self


_NEEDLE_MOST_KPA = 207.0  # 30 psi, above any blow-through's (common practice, no source); a typed unit is more often wrong


def _default_places() -> tuple[Place, ...]:
    rows = (("tank", "tank"), ("pump", "pump"), ("carb_inlet", "carburettor"))
    return tuple(Place(name=name, channel=channel, role=role) for channel, (name, role) in enumerate(rows))  # type: ignore[arg-type]


class Car(Table):
    """Everything about the car that the numbers need. SI inside, units in the names."""

    name: Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(text.checked)] = Field(
        default="unnamed car", min_length=1, max_length=80
    )
    units: Literal["us", "si"] = "si"
    altitude_m: Altitude | None = Field(default=None, alias="altitude")
    station_pressure_kpa: AirPressure | None = Field(default=None, alias="station_pressure")
    fix: str | None = None  # what is fitted besides the standard parts; selects a comparison's question
    before: str | None = None  # the place just downstream of the fix
    fuel_table: FuelTable = Field(alias="fuel")
    tank: Tank = Tank()
    suction: Suction = Suction()
    pump: Pump = Pump()
    carburettor: Carburettor = Carburettor()
    engine: Engine = Engine()
    sensors: Sensors = Sensors()
    inputs: Inputs = Field(default=(), alias="input", strict=False)
    places: tuple[Place, ...] = Field(default_factory=_default_places, alias="place", strict=False)

    @model_validator(mode="after")
    def _channels(self) -> "Car":
        if not 1 <= len(self.places) <= 8:
            raise InputError(f"it has {len(self.places)} places: a board has 1 to 8 channels")
        for what in ("name", "channel"):
            seen = [getattr(place, what) for place in self.places]
            twice = sorted({str(value) for value in seen if seen.count(value) > 1})
            if twice:
                raise InputError(f"two places have the {what} {twice[0]}: each place needs its own")
        return self

    @model_validator(mode="after")
    def _carburettor_fed(self) -> "Car":
        if any(place.kind.needle for place in self.places) and self.pump.pressure_kpa > _NEEDLE_MOST_KPA:
            given, most = (Shown(self.units).text(kpa, "pressure") for kpa in (self.pump.pressure_kpa, _NEEDLE_MOST_KPA))
            raise InputError(
                f"pump: pressure is {given}: a carburettor's needle holds 4 to 7 psi (28 to 48 kPa), blow-through more by the boost, {most} at most; check "
                'the value and its unit, or give the place the role "injector" where an injector is fed'
            )
        return self

    def fuel(self, shown: Shown | None = None) -> Fuel:
        """The fuel in the tank; its sentences in the units of `shown`, default the car's. Raises InputError for figures impossible or not covered."""
        return fuel_from(self.fuel_table.description(), shown or Shown(self.units))

    @property
    def limit_places(self) -> dict[str, tuple[Place, Role]]:
        """Every place with a limit, in the file's order: name -> (its probe's place, its own role); behind a needle the role differs from the probe's."""
        found = {}
        for place in self.places:
            if place.kind.has_limit:
                found[place.name] = place, self.role_of(place)
            if place.kind.throttled:
                found[behind_needle(place.name)] = place, ROLES["needle"]
        return found

    def role_of(self, place: Place) -> Role:
        """The place's role in this car: what boils in a line that ends at an injector comes through the injector, and what is true of one after a stop is
        true of the other."""
        return ROLES["injected_line"] if place.role == "line" and self.regulated else place.kind

    @property
    def regulated(self) -> bool:
        """Whether the line's pressure is held by a regulator: an engine with an injector runs at one pressure."""
        return any(place.role == "injector" for place in self.places)

    @property
    def injector_unsaid(self) -> bool:
        """Whether the pump's pressure is one that only injection has and no place has the role "injector": its line is judged as before a carburettor."""
        return self.pump.pressure_kpa > _NEEDLE_MOST_KPA and not self.regulated

    def place(self, name: str) -> Place:
        """The place of that name. Raises InputError that lists the names."""
        for place in self.places:
            if place.name == name:
                return place
        raise InputError(f'there is no place "{name}" in this car file; it has {", ".join(p.name for p in self.places)}')


def load(path_or_text: str | Path) -> Car:
    """The car of a file (Path, or a str without a line break) or of its text. Raises InputError with one sentence per mistake."""
    where = "car file"
    text = path_or_text
    if isinstance(path_or_text, Path) or "\n" not in path_or_text:
        path = Path(path_or_text)
        where = path.name
        refuse_pipe(path)
        try:
            if path.stat().st_size > _TEXT_MAX:
                raise InputError(f"{where} has more than {_TEXT_MAX} bytes: that is not a car file")
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            raise InputError(f"{where} is not UTF-8 text: save it as plain text (in Notepad: Save as, Encoding UTF-8)") from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise InputError(
                f"{where} cannot be read ({reason}): give the path of a car file; `hotfuel demo` leaves one behind"
            ) from None
    try:
        values = tomllib.loads(str(text).removeprefix("\ufeff"))  # some editors begin a UTF-8 file with a byte order mark
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise InputError(f"{where} is not TOML: {error}; {mistakes.remedy(str(text))}") from None
    try:
        return Car.model_validate(values)
    except ValidationError as error:
        raise InputError("\n".join(f"{where}: {mistakes.sentence(item, Car)}" for item in error.errors())) from None
