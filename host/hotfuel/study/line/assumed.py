"""What a forecast assumes, as data: a record for each part of a change. `hotfuel.report.assumption_words` puts them into sentences."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hotfuel.study.line.change import Change, Share

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

WALL_U = 0.3  # relative standard uncertainty of what insulation saves (assumption)


@dataclass(frozen=True)
class OtherFuel:
    """Another fuel, by its name, on the same drive."""

    fuel: str


@dataclass(frozen=True)
class ThinnerAir:
    """Air pressure lower by fall_kpa, negative where it is higher, at the same outside temperature."""

    fall_kpa: float


@dataclass(frozen=True)
class HotterAir:
    """Fuel in outside air follows it fully; what the engine heats follows it less, by its way to engine_degc. None: the outside air is not known."""

    engine_degc: float | None


@dataclass(frozen=True)
class Boiling:
    """At these places boiling takes up heat."""

    places: tuple[str, ...]


@dataclass(frozen=True)
class Section:
    """Insulation or a shield ("insulation", "shield") on the section from `before` to `place` cuts its heat by `share`; pumped: a pump on the engine
    stands at an end of it. before is "tank" where no place before is read."""

    fix: str
    share: Share
    before: str
    place: str
    pumped: bool


@dataclass(frozen=True)
class Spacer:
    """A spacer under the pump or the carburettor cuts the heat through the flange by `share`."""

    under: str
    share: Share


@dataclass(frozen=True)
class MoreFlow:
    """A new return carries l_h; flow_known: whether the flow through the line is, and with it how much faster the fuel passes."""

    l_h: Share
    flow_known: bool


@dataclass(frozen=True)
class PumpMoved:
    """An electric pump in the tank (submerged) or near it. tank, pump: the places whose rise tells the old pump's heat, "" where they are not read."""

    submerged: bool
    tank: str
    pump: str
    mechanical: bool


@dataclass(frozen=True)
class NeverRan:
    """The engine never ran in the session."""


@dataclass(frozen=True)
class CoolerAir:
    """The air at a cooler is over_degc above outside air, with its standard uncertainty;
    air_when_standing: a fan blows as much of it through while the car stands."""

    over_degc: float
    u_degc: float
    air_when_standing: bool


@dataclass(frozen=True)
class CoolerWater:
    """A water circuit of the cooler's own, so many degrees above outside air."""

    over_degc: tuple[float, float]


@dataclass(frozen=True)
class CoolerSpray:
    """A wetted core, so many degrees below outside air."""

    below_degc: tuple[float, float]


@dataclass(frozen=True)
class IceWater:
    """Ice water for so many minutes of running, or until kg are melted."""

    minutes: float | None
    kg: float


@dataclass(frozen=True)
class CoolerSize:
    """A cooler of an effectiveness at flow_l_h (nan: not known) or of a UA, before a place or in the return. flow_assumed: flow_l_h is the idle flow of the
    car file, because the session's is not known."""

    effectiveness: Share | None
    ua_w_k: Share | None
    flow_l_h: float
    before: str
    flow_assumed: bool = False


@dataclass(frozen=True)
class ReturnIntoTank:
    """The return ends in least_l to most_l of fuel in the tank."""

    least_l: float
    most_l: float


@dataclass(frozen=True)
class SwirlPot:
    """The return ends in a swirl pot, too small to store heat."""


@dataclass(frozen=True)
class LongerStop:
    """The stop of was_min lasts `minutes` instead."""

    was_min: float
    minutes: float


Assumption = (
    OtherFuel
    | ThinnerAir
    | HotterAir
    | Boiling
    | Section
    | Spacer
    | MoreFlow
    | PumpMoved
    | NeverRan
    | CoolerAir
    | CoolerWater
    | CoolerSpray
    | IceWater
    | CoolerSize
    | ReturnIntoTank
    | SwirlPot
    | LongerStop
)


def along_the_line(to: "Changed", change: Change) -> Iterator[Assumption]:
    """One for each part of a change, other than a cooler, that acts on the heat the fuel takes up."""
    for fix, given in (("insulation", change.insulated), ("shield", change.shielded)):
        for place, share in given.items():
            before = to.grid.before(place) or "tank"
            yield Section(fix, share, before, place, to.pump_in(place, before))
    for under, share in change.spaced.items():
        yield Spacer(under, share)
    if change.return_l_h is not None:
        yield MoreFlow(change.return_l_h, to.known_flow)
    if change.submerged_pump or change.pump_moved:
        roles = {p.name: p.role for p in to.car.places}
        tank, pump = (
            next((p for p in to.grid.chain if roles.get(p) in wanted), "") for wanted in (("tank",), ("pump", "suction"))
        )
        yield PumpMoved(change.submerged_pump, tank, pump, to.car.pump.kind == "mechanical")
