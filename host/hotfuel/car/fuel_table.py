"""A car file's table of the fuel in the tank, and what every table of the file has in common."""

import datetime

from pydantic import BaseModel, ConfigDict, Field, model_validator

from hotfuel.car.quantities import Density, FuelTemperature, Percent, VapourPressure
from hotfuel.errors import InputError


class Table(BaseModel):
    """What every table of a car file is: no unknown key, no value of another type."""

    # allow_inf_nan: TOML has both, and neither is valid for any key of a car file
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class FuelTable(Table):
    """The fuel in the tank: by class, or by measurement (vapour pressure and distillation)."""

    class_: str | None = Field(default=None, alias="class")
    standard: str | None = None
    edition: str | None = None
    grade: str | None = None
    ethanol_vol: Percent | None = Field(default=None, alias="ethanol")
    vapour_pressure_kpa: VapourPressure | None = Field(default=None, alias="vapour_pressure")
    t10_degc: FuelTemperature | None = Field(default=None, alias="t10")
    t50_degc: FuelTemperature | None = Field(default=None, alias="t50")
    t90_degc: FuelTemperature | None = Field(default=None, alias="t90")
    e70_vol: Percent | None = Field(default=None, alias="e70")
    e100_vol: Percent | None = Field(default=None, alias="e100")
    density_kg_m3: Density | None = Field(default=None, alias="density")
    t_vl20_degc: FuelTemperature | None = Field(default=None, alias="t_vl20")
    methanol_vol: Percent | None = Field(default=None, alias="methanol")
    ether_vol: Percent | None = Field(default=None, alias="ether")
    nitromethane_vol: Percent | None = Field(default=None, alias="nitromethane")
    measured_on: datetime.date | None = None
    t10_assumed: bool | None = None  # true: T10 was taken from the vapour pressure, not measured
    # figures to keep although they contradict the others
    as_printed: tuple[str, ...] | None = Field(default=None, strict=False)

    @model_validator(mode="after")
    def _one_way(self) -> "FuelTable":
        if (self.class_ is None) == (self.vapour_pressure_kpa is None):
            raise InputError('needs either "class" or "vapour_pressure" with a distillation, not both')
        return self

    def description(self) -> dict[str, object]:
        """The values given, in the form that hotfuel.fuel.fuel_from takes."""
        given = {name: value for name, value in self if value is not None and name != "measured_on"}
        return {"class" if name == "class_" else name: value for name, value in given.items()}
