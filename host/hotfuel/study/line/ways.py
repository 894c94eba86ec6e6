"""How a section's heat reaches the fuel: from hot metal that the line is bolted to or runs beside, or from the air under the bonnet.

Both heat the fuel in proportion to their temperature above it. They change differently between idling and driving, and only that separates them.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.optimize import nnls

from hotfuel.study.drive.course import STEP_S, Course
from hotfuel.study.drive.phases import fired
from hotfuel.study.line import transport
from hotfuel.study.line.draws import DRAWS, Draws, Interval
from hotfuel.study.line.plug_flow import bridged, lagged
from hotfuel.study.line.section import Section
from hotfuel.study.line.unknown import Unknown, What
from hotfuel.units import expanded

BLOCK_S = 30  # a row of the fit
METAL_DEGC, METAL_U_DEGC = 92.0, 6.0  # of a warmed engine without a probe (thermostats: common practice, no source)
LEAST_BLOCKS = 12
TOLD = 0.25  # half width of a share above which it is not reported
ELSEWHERE_U = 0.1  # of a share: metal and air beside the line are not exactly as hot as at their probes (assumption)
BODY_S = (20.0, 80.0, 200.0)  # time in which a pump's own metal follows block and air (assumption)
SOAKED_S = 300.0  # time in which it gives off what it took up in a stop (assumption)
MOST_DOUBT = 0.3  # relative half width (95 %) of the heat above which its sources are not worked out


@dataclass(frozen=True)
class Way:
    """One section: the share of its heat from hot metal, the rest is from the air. told: whether its interval is narrow enough to report.

    metals: with probes on two or more pieces of metal, the share from each, by the probe's name.
    """

    before: str
    place: str
    metal: Interval
    metals: tuple[tuple[str, Interval], ...] = ()

    @property
    def told(self) -> bool:
        """Whether its interval is narrow enough to report."""
        return is_told(self.metal)

    def as_dict(self) -> dict[str, Any]:
        """Plain fields for JSON."""
        each = [{"name": name, "share": asdict(share), "told": is_told(share)} for name, share in self.metals]
        return asdict(self) | {"told": self.told, "metals": each}


def is_told(share: Interval) -> bool:
    """Whether a share's interval is narrow enough to report."""
    narrow = share.half <= TOLD and share.half <= 0.5 * max(share.middle, 1 - share.middle)
    return bool(np.isfinite(share.middle) and narrow)


def ways(
    course: Course, sections: Sequence[Section], draws: Draws, u_degc: Callable[[str], float], cold: bool = False
) -> list[Way]:
    """One for each section; empty without a probe in the air beside the line. u_degc: standard uncertainty of a place's reading.

    cold: whether the session begins with a cold car. Two pieces of metal are told apart by how fast they warm up; from a warm start they cannot be.
    """
    air = transport.air_beside(course)
    if air is None or course.car is None:
        return []
    metals = _metals(course)
    return [_way(course, one, course.degc[air], metals, draws, u_degc, cold) for one in sections]


def _metals(course: Course) -> dict[str, np.ndarray]:
    """Readings of probes on the engine and on parts heated by its exhaust, by name."""
    assert course.car is not None
    names = [
        p.name
        for p in course.car.places
        if p.role == "other" and any(w in p.name for w in ("block", "manifold", "head", "engine", "exhaust"))
    ]
    return {n: course.degc[n] for n in names if n in course.degc and np.isfinite(course.degc[n]).any()}


def _way(
    course: Course,
    one: Section,
    air: np.ndarray,
    metals: dict[str, np.ndarray],
    draws: Draws,
    u_degc: Callable[[str], float],
    cold: bool,
) -> Way:
    nothing = Way(one.before, one.place, Interval(np.nan, np.nan, np.nan))
    on = one.within(fired(course)) & np.isfinite(air) & (one.slopes[0] > 0)
    if one.pump:  # what its metal took up in a stop came another way
        on &= ~_soaked(fired(course))
    blocks = [rows for rows in np.array_split(np.arange(len(on)), max(len(on) // BLOCK_S, 1)) if on[rows].mean() > 0.8]
    if len(blocks) < LEAST_BLOCKS:
        return nothing

    def mean(values: np.ndarray) -> np.ndarray:
        return np.array([np.nanmean(values[rows]) for rows in blocks])

    heat, flow, out_slope, in_slope = (mean(x) for x in (one.gained_w, one.slopes[0] / 0.432, *one.slopes))
    fuel = mean((one.leaves_degc + one.entered_degc) / 2)
    # a pump's own metal follows what heats it in minutes
    slow_s = BODY_S if one.pump else (0.0,)

    def slow(values: np.ndarray) -> np.ndarray:
        return np.array([mean(lagged(course.time_s, bridged(values), tau_s)) for tau_s in slow_s])

    about = slow(air)
    which = draws.between(Unknown(What.BODY), 0.0, len(slow_s) - 1.0)[:, 0]
    offset = [draws.normal(Unknown(What.PROBE, p), 0.0, u_degc(p))[:, 0] for p in (one.place, one.before)]
    if float(np.mean(heat)) <= 0:  # a cooler is in the section, and the fuel takes up no heat
        return nothing
    doubt = expanded(float(np.std(np.mean(out_slope) * offset[0] - np.mean(in_slope) * offset[1])))
    if doubt > MOST_DOUBT * abs(float(np.mean(heat))):
        return Way(one.before, one.place, Interval(0.0, 0.5, 1.0))
    faster = draws.between(Unknown(What.FILM), 0.0, 0.8)[:, 0]
    guess = draws.normal(Unknown(What.METAL), METAL_DEGC, METAL_U_DEGC)[:, 0]
    off_air = draws.normal(Unknown(What.AIR_PROBE), 0.0, 3.0)[:, 0]
    random = np.random.default_rng(3)
    middle = max(float(np.median(flow)), 1e-6)
    read = [slow(values) for values in metals.values()]
    shares = np.full((DRAWS, max(len(read), 1)), np.nan)
    for n in range(DRAWS):
        rows = random.integers(0, len(blocks), len(blocks))
        scale = np.maximum(flow / middle, 0.05) ** faster[n]
        hot = [_between(rows_of, which[n]) for rows_of in read] or [np.full(len(blocks), guess[n])]
        x = np.column_stack([(degc - fuel) * scale for degc in (_between(about, which[n]) + off_air[n], *hot)])
        y = heat + out_slope * offset[0][n] - in_slope * offset[1][n]
        weight = 1 / np.maximum(flow, 1e-3)
        came = nnls(x[rows] * weight[rows, None], y[rows] * weight[rows])[0] * x.sum(axis=0)
        if abs(came.sum()) > 1e-6:
            shares[n] = np.clip(came[1:] / came.sum(), 0.0, 1.0)
    told = np.isfinite(shares).all(axis=1)
    if not told.any():
        return nothing
    shares[~told] = np.median(shares[told], axis=0)

    def elsewhere(share: np.ndarray, name: str) -> Interval:
        off = draws.normal(Unknown(What.ELSEWHERE, f"{name} at {one.place}"), 0.0, ELSEWHERE_U)[:, 0]
        return draws.interval(np.clip(share + off, 0.0, 1.0))

    each = tuple((name, elsewhere(shares[:, k], name)) for k, name in enumerate(metals)) if len(metals) > 1 and cold else ()
    return Way(one.before, one.place, elsewhere(shares.sum(axis=1), "metal"), each)


def _between(rows: np.ndarray, which: float) -> np.ndarray:
    """Between two of several rows (k, n): 0.5 is half-way from the first to the second."""
    at = min(int(which), len(rows) - 1)
    after = min(at + 1, len(rows) - 1)
    return np.asarray(rows[at] + (which - at) * (rows[after] - rows[at]))


def _soaked(on: np.ndarray) -> np.ndarray:
    """Rows within SOAKED_S after a start that follows a stop in the session, (n,)."""
    made = np.zeros(len(on), dtype=bool)
    for row in np.flatnonzero(on[1:] & ~on[:-1]) + 1:
        if on[:row].any():
            made[row : row + int(SOAKED_S / STEP_S)] = True
    return made
