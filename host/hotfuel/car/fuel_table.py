"""A car file's table of the fuel in the tank, and what every table of the file has in common."""

import datetime
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from hotfuel.car.quantities import Density, FuelTemperature, Percent, VapourPressure
from hotfuel.errors import InputError
from hotfuel.fuel.blend import named, shares_of


class Table(BaseModel):
    """What every table of a car file is: no unknown key, no value of another type."""

    # allow_inf_nan: TOML has both, and neither is valid for any key of a car file
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class Described(Table):
    """A fuel by class, or by measurement (vapour pressure and distillation)."""

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
    def _one_way(self) -> Self:
        self._check()
        return self

    def _check(self) -> None:
        if (self.class_ is None) == (self.vapour_pressure_kpa is None):
            raise InputError('needs either "class" or "vapour_pressure" with a distillation, not both')

    def description(self) -> dict[str, object]:
        """The values given, in the form that hotfuel.fuel.fuel_from takes."""
        given = {name: value for name, value in self if value is not None and name not in ("measured_on", "blend")}
        return {"class" if name == "class_" else name: value for name, value in given.items()}


class BlendPart(Described):
    """One fuel of a blend, with its share of the tank: per cent or a volume."""

    share: str


class FuelTable(Described):
    """The fuel in the tank: by class, by measurement, or a blend of several of these."""

    blend: tuple[BlendPart, ...] | None = Field(default=None, strict=False)

    def _check(self) -> None:
        if self.blend is None:
            super()._check()
            return
        beside = [name for name in self.model_fields_set if name not in ("blend", "measured_on")]
        if beside:
            raise InputError(
                'a blend is described by its parts alone: move every other line of [fuel] into a table [[fuel.blend]] with its "share"'
            )
        shares_of([part.share for part in self.blend])

    @property
    def blended(self) -> str | None:
        """A blend in words, "60 % D4814 E-5 and 40 % D4814 A-1"; None of a single fuel."""
        if self.blend is None:
            return None
        return named(shares_of([part.share for part in self.blend]), [part.class_ or "measured fuel" for part in self.blend])

    def description(self) -> dict[str, object]:
        """The values given, in the form that hotfuel.fuel.fuel_from takes."""
        return super().description() if self.blend is None else {"blend": [part.description() for part in self.blend]}
