"""What nobody measured: the names of what a forecast and a heat budget draw at random. `hotfuel.report.unknown_words` puts them into words."""

from enum import StrEnum
from typing import NamedTuple


class What(StrEnum):
    """What is not known. The values seed the draws (`Unknown.seed`): another value makes other draws, and other results in their last figures."""

    # flow and probes
    FLOW = "flow"
    FLOW_UNKNOWN = "unknown flow"
    FLOW_WITHIN = "flow within a phase"  # of a place and phase: how it changes from second to second
    RETURN_STATED = "return flow as stated"
    RETURN_NEW = "return flow"
    RETURN_BACK = "back"
    HEAT_CAPACITY = "cp"
    PROBE = "reading"  # of a place: its error
    PROBE_SITS = "stopped"  # of a place: where in its line
    AIR_PROBE = "air"
    # the fuel on its way
    VOLUME = "volume"  # of the line before a place
    STOOD = "stood"  # of a place and phase: heat from before the phase
    AROUND = "around"  # of a place: what heats the line before it
    FILM = "film"  # how the heat taken up rises with the flow
    STARTED = "started"
    OWN_FUEL = "own fuel"
    PASSED = "passed"
    FLUSHED = "flush"
    FORGETS = "forgets"
    FORGETS_IN_HOSE = "forgets in a hose"
    STOPS_ALIKE = "stop"
    # where heat comes from
    METAL = "metal"
    BODY = "body"  # how fast a pump's own metal follows
    ELSEWHERE = "away from the probe"  # of a piece of metal at a place
    WALL = "wall"
    SHONE = "shone"
    FLANGE = "flange"
    OUTLET = "outlet"
    # boiling, limits, another day, a longer stop
    ONSET = "begins"
    BOILED = "boiled"
    BOILED_STANDING = "boiled standing"  # of a hose or not
    FUELS = "fuel"
    HELD_PRESSURE = "held pressure"
    HEIGHT = "height"
    FOLLOWS = "thermostat"
    DAY = "day"
    LONGER_STOP = "longer"
    AFTER_LONGER_STOP = "after longer"
    # fixes
    THIS_CAR = "own"  # of a kind of fix: how much of it this car gets
    INSULATION = "insulation"
    SHIELD = "shield"
    SPACER = "spacer"
    HELD = "held"
    HELD_SHIELD = "held s"
    HELD_SPACER = "held p"
    HELD_FLOW = "held r"
    OLD_PUMP = "old pump"
    OLD_PUMP_ELECTRIC = "old pump e"
    OLD_PUMP_UNSEEN = "unseen rise"
    OLD_PUMP_GONE = "held m"
    PUMP_HEAT = "pump heat"
    PUMP_WARMS = "pump warms"
    COOLER_SITS = "where"
    COOLER_FILM = "film of the cooler"
    EFFECTIVENESS = "effectiveness"
    UA = "UA"
    STILL_AIR = "still air"
    WATER = "water"
    SPRAY = "spray"
    COOLER_AIR = "air at the cooler"
    CAN_WALL = "can"
    # the tank
    FILLED = "filled"
    TANK_WALL = "tank wall"
    ON_THE_WAY_BACK = "on the way back"


_SEEDS = {What.FLOW_WITHIN: "own", What.ELSEWHERE: "", What.EFFECTIVENESS: "cooler", What.UA: "cooler"}  # not their values


class Unknown(NamedTuple):
    """One thing that nobody measured, and what it belongs to: a place, a phase of it, or a kind of fix; "" for the whole car."""

    what: What
    of: str = ""

    @property
    def seed(self) -> str:
        """The text that orders its draws."""
        return f"{_SEEDS.get(self.what, self.what)} {self.of}".strip()
