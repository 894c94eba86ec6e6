"""Why a place behind a hose changed most, and why nothing can be said about a hose."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hotfuel.errors import InputError


class Reason(StrEnum):
    """Why the downstream place changed most, or why that is not said."""

    ARRIVED = "arrived"  # hotter or cooler fuel came from the place before
    TIME_IN_HOSE = "time in the hose"  # the fuel had spent more or less time in the hose
    HEAT_ON_THE_WAY = "heat on the way"  # the hose heated it more or less than before
    HEAT_TAKEN_OUT = "heat taken out"  # something in the hose cooled it more or less than before: ice, a cooler, cold air
    HARDLY_CHANGED = "hardly changed"
    DELAY_ONLY = "delay only"  # the flow is unknown, so there is a delay and nothing else
    NO_DELAY = "no delay"  # the flow is unknown and the two places do not follow each other


class Lacking(StrEnum):
    """What is missing where nothing can be said about a hose."""

    SAMPLES = "samples"
    CHANGE = "change"
    FLOW = "flow"
    FLOWING_SAMPLES = "flowing samples"
    ENGINE_SPEED = "engine speed"  # nor any flow
    STEADY_SPEED = "steady speed"  # of an engine whose flow at that speed is unknown


@dataclass(frozen=True)
class Untold:
    """What is missing, with the number of samples there are; least_rpm, most_rpm: of an engine speed that was not steady."""

    lacking: Lacking
    samples: int = 0
    least_rpm: float = np.nan
    most_rpm: float = np.nan


class UntoldError(InputError):
    """Nothing can be said about a hose; `untold` says why."""

    def __init__(self, message: str, untold: Untold) -> None:
        super().__init__(message)
        self.untold = untold
