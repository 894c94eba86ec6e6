"""How a section's heat comes to the fuel: from hot metal it is bolted to or runs beside, or from the air under the bonnet.

Both warm the fuel by what they are hotter than it; while idling and driving they change differently, and that tells them apart, if anything does.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hotfuel.study.drive.course import Course
from hotfuel.study.drive.phases import fired
from hotfuel.study.line import transport
from hotfuel.study.line.draws import DRAWS, Draws, Interval

if TYPE_CHECKING:
    from hotfuel.study.line.heat import Section

BLOCK_S = 30  # a row of the fit
METAL_DEGC, METAL_U_DEGC = 92.0, 6.0  # of a warmed engine without a probe (thermostats: common practice, no source)
LEAST_BLOCKS = 12
TOLD = 0.25  # half width of the share, above which it is not told
MOST_DOUBT = 0.5  # of the heat itself, 95 %: of what may be none of it nobody can say how it came


@dataclass(frozen=True)
class Way:
    """One section: the share of its heat that comes from hot metal, the rest from the air. told: whether its interval is narrow enough to say it."""

    before: str
    place: str
    metal: Interval

    @property
    def told(self) -> bool:
        """Whether it says something."""
        one = self.metal
        return bool(np.isfinite(one.middle) and one.half <= TOLD and one.half <= 0.5 * max(one.middle, 1 - one.middle))

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        return asdict(self) | {"told": self.told}


def ways(course: Course, sections: Sequence["Section"], draws: Draws) -> list[Way]:
    """One for each section; empty without a probe in the air beside the line."""
    air = transport.air_beside(course)
    if air is None or course.car is None:
        return []
    metal = _metal(course)
    return [_way(course, one, course.degc[air], metal, draws) for one in sections]


def _metal(course: Course) -> np.ndarray | None:
    """A probe on the engine, if there is one that reads hotter than the air."""
    assert course.car is not None
    names = [
        p.name
        for p in course.car.places
        if p.role == "other" and any(w in p.name for w in ("block", "manifold", "head", "engine"))
    ]
    return next((course.degc[n] for n in names if n in course.degc and np.isfinite(course.degc[n]).any()), None)


def _way(course: Course, one: "Section", air: np.ndarray, metal: np.ndarray | None, draws: Draws) -> Way:
    assert course.car is not None
    nothing = Way(one.before, one.place, Interval(np.nan, np.nan, np.nan))
    on = one.within(fired(course)) & np.isfinite(air) & (one.slopes[0] > 0)
    blocks = [rows for rows in np.array_split(np.arange(len(on)), max(len(on) // BLOCK_S, 1)) if on[rows].mean() > 0.8]
    if len(blocks) < LEAST_BLOCKS:
        return nothing

    def mean(values: np.ndarray) -> np.ndarray:
        return np.array([np.nanmean(values[rows]) for rows in blocks])

    heat, flow, out_slope, in_slope = (mean(x) for x in (one.gained_w, one.slopes[0] / 0.432, *one.slopes))
    fuel = mean((one.leaves_degc + one.entered_degc) / 2)
    about = mean(air)
    idle_l_h = course.car.engine.idle_flow_l_h
    offset = [
        draws.normal(f"reading {p}", f"what the probe at {p} is wrong by", 0.0, transport.reading_u_degc(course, p, idle_l_h))[
            :, 0
        ]
        for p in (one.place, one.before)
    ]
    if float(np.mean(heat)) <= 0:  # a cooler stands there, and nothing is taken up
        return nothing
    doubt = 1.96 * float(np.std(np.mean(out_slope) * offset[0] - np.mean(in_slope) * offset[1]))
    if doubt > MOST_DOUBT * abs(float(np.mean(heat))):
        return Way(one.before, one.place, Interval(0.0, 0.5, 1.0))
    faster = draws.between("film", "how the heat taken up rises with the flow", 0.0, 0.8)[:, 0]
    guess = draws.normal("metal", "how hot the metal is", METAL_DEGC, METAL_U_DEGC)[:, 0]
    off_air = draws.normal("air", "what the probe in the air is wrong by", 0.0, 3.0)[:, 0]
    random = np.random.default_rng(3)
    shares = np.full(DRAWS, np.nan)
    middle = max(float(np.median(flow)), 1e-6)
    read = None if metal is None else mean(metal)
    for n in range(DRAWS):
        rows = random.integers(0, len(blocks), len(blocks))
        scale = np.maximum(flow / middle, 0.05) ** faster[n]
        hot = np.full(len(blocks), guess[n]) if read is None else read
        x = np.column_stack([(about + off_air[n] - fuel) * scale, (hot - fuel) * scale])
        y = heat + out_slope * offset[0][n] - in_slope * offset[1][n]
        weight = 1 / np.maximum(flow, 1e-3)
        a = _not_negative(x[rows] * weight[rows, None], y[rows] * weight[rows])
        from_air, from_metal = (float(np.sum(a[k] * x[:, k])) for k in (0, 1))
        if abs(from_air + from_metal) > 1e-6:
            shares[n] = np.clip(from_metal / (from_air + from_metal), 0.0, 1.0)
    shares = np.where(np.isfinite(shares), shares, np.nanmedian(shares) if np.isfinite(shares).any() else np.nan)
    return Way(one.before, one.place, draws.interval(shares))


def _not_negative(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Least squares of two columns, neither coefficient below 0."""
    (p, q), (_, r) = x.T @ x
    u, v = x.T @ y
    whole = p * r - q * q
    if whole > 1e-9 * p * r:
        free = np.array([(r * u - q * v) / whole, (p * v - q * u) / whole])
        if (free >= 0).all():
            return free
    alone = [max(float(x[:, k] @ y / max(float(x[:, k] @ x[:, k]), 1e-12)), 0.0) for k in (0, 1)]
    left = [float(np.sum((y - alone[k] * x[:, k]) ** 2)) for k in (0, 1)]
    best = int(np.argmin(left))
    return np.array([alone[0] if best == 0 else 0.0, alone[1] if best == 1 else 0.0])
