"""What is shown at one moment, as plain values: made by live.state, put into words by live.wording. SI inside."""

import math
from dataclasses import dataclass, field
from typing import Any

from hotfuel.live.alarms import Spell
from hotfuel.live.engine import PullNow
from hotfuel.live.forecasts import Outlook
from hotfuel.live.memory import LastMargin
from hotfuel.risk.level import Level
from hotfuel.risk.margin import PlaceMargin
from hotfuel.risk.trend import UNKNOWN, Trend

NOT_KNOWN_MIN = (math.nan, math.nan, math.nan)


@dataclass(frozen=True)
class PlaceNow:
    """One place at its last reading. degc is nan where it cannot be read: `reason` then says why, last_degc and last_age_s give the last reading.

    unsteady: it counts as lost, also at the moments at which it can be read. doubted: its reading fell faster than its probe can and is not believed.
    ahead: the limit is announced, in `ahead_min` minutes (about, least, greatest). back_since: axis second since which the margin has recovered
    although the warning is still on. known: its last margin, also while it cannot be read. margins: its last readings' limits and margins, the newest
    last, None where a place has none.
    """

    name: str
    role: str
    degc: float
    reason: int
    last_degc: float
    last_age_s: float
    margins: PlaceMargin | None = None
    state: Level = Level.NO_MARGIN
    unsteady: bool = False
    doubted: bool = False
    percolates: bool = False
    trend: Trend = field(default_factory=lambda: Trend(UNKNOWN))
    spell: Spell = field(default_factory=Spell)
    ahead: bool = False
    ahead_min: tuple[float, float, float] = NOT_KNOWN_MIN
    back_since: float = math.nan
    known: LastMargin = field(default_factory=LastMargin)

    @property
    def limit_degc(self) -> float:
        """The limit at the last reading, nan without one."""
        return math.nan if self.margins is None else float(self.margins.limit_degc[-1])

    @property
    def margin_degc(self) -> float:
        """The margin at the last reading, nan without one."""
        return math.nan if self.margins is None else float(self.margins.margin_degc[-1])

    @property
    def uncertainty_degc(self) -> float:
        """Its standard uncertainty, nan without a margin."""
        return math.nan if self.margins is None else float(self.margins.uncertainty_degc[-1])

    @property
    def pressure_kpa(self) -> float:
        """The absolute pressure here, nan without a margin."""
        return math.nan if self.margins is None else float(self.margins.pressure_kpa[-1])


@dataclass(frozen=True)
class Situation:
    """Everything shown. `age_s`: since the last reading arrived; nan before the first. `live`: a recorder has the log open.
    `stopped_at`: axis second at which the engine stopped, nan while it runs. `not_on_disk`: the part of the drive that is kept elsewhere or missing.
    `pull`: the last full-throttle pull. `unnamed`: what the board's lamp shows for a place that no message named."""

    name: str
    live: bool
    read_share: float
    age_s: float
    at: float
    wall_offset_s: float
    places: tuple[PlaceNow, ...]
    unseen_places: tuple[str, ...]
    first: str
    winks: bool
    sounding: bool
    board_warns: bool
    disagreement: tuple[str, ...]
    outlooks: tuple[Outlook, ...]
    standing: bool
    stopped_at: float
    inputs: dict[str, float]
    marks: tuple[tuple[float, str], ...]
    health: dict[str, Any]
    notes: tuple[str, ...]
    not_on_disk: str = ""
    pull: PullNow | None = None
    unnamed: Level = Level.QUIET
