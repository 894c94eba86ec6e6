"""What a reader must know of margins, as data; each makes its sentence in the units that are read."""

from dataclasses import dataclass
from typing import Protocol

from hotfuel.fuel.table import PRESSURE_RANGE_KPA
from hotfuel.places import place_words
from hotfuel.risk.level import Level
from hotfuel.risk.pressure import stated_air
from hotfuel.units import Shown


class Remark(Protocol):
    """Something to know; equal remarks say the same."""

    def text(self, shown: Shown) -> str:
        """The sentence in the reader's units; "" if there is nothing to say."""
        ...


@dataclass(frozen=True)
class Said:
    """A sentence without a quantity in it."""

    sentence: str

    def text(self, shown: Shown) -> str:
        """The sentence as it is."""
        return self.sentence


@dataclass(frozen=True)
class AirPressure:
    """The car file's altitude and station pressure, which may leave a question."""

    altitude_m: float | None
    station_pressure_kpa: float | None

    def text(self, shown: Shown) -> str:
        """The question, "" if there is none."""
        return stated_air(self.altitude_m, self.station_pressure_kpa, shown).question or ""


@dataclass(frozen=True)
class NoLimit:
    """Why a place has no margin although it was read: its level, or None where the pressure is above the range of limits."""

    place: str
    level: Level | None

    def text(self, shown: Shown) -> str:
        """For a person."""
        if self.level is None:
            return (
                f"{place_words(self.place)}: no limit is computed above {shown.bound(PRESSURE_RANGE_KPA[1], 'pressure')} absolute"
            )
        return f"{place_words(self.place)}: {self.level.text(shown)}; it counts as beyond the limit"
