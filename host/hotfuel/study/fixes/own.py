"""One's own history of fixes: by how much forecasts were wrong, pooled by kind and, the fewer fixes there are, drawn more towards what is usual.

Each fix gave a factor on the value assumed in its forecast, with its uncertainty. Factors of one kind scatter about a middle of one's own, by what cars
differ by; that middle scatters about 1, by what shops differ by. Both are estimated on a grid (a normal hierarchy of the logarithms); the weight is the
share by which the fixes have reduced the variance of the middle.
"""

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hotfuel.files import whole
from hotfuel.study.fixes.came import Came
from hotfuel.study.line.draws import OWN_U, Own

FOLDER = "outcomes"  # in an archive: a file for each session that a forecast was held against
SHOPS_U = 0.35  # spread of the logarithm of a shop's own middle about what is usual (assumption)
_MIDDLES = np.linspace(-1.6, 1.2, 141)
_SPREADS = np.linspace(0.02, 0.8, 40)  # of cars about that middle; usual is OWN_U


@dataclass(frozen=True)
class Record:
    """One fix of the history."""

    session: str
    kind: str
    log_factor: float
    log_u: float
    simulated: bool


def pooled(factors: Sequence[tuple[float, float]]) -> Own:
    """What fixes of one kind, each (log factor, its standard uncertainty), tell of the next; without any, what is usual."""
    if not factors:
        return Own(1.0, OWN_U)
    middle, spread = np.meshgrid(_MIDDLES, _SPREADS, indexing="ij")
    # cars differ by about OWN_U, to a factor of two
    weight = -0.5 * (middle / SHOPS_U) ** 2 - 0.5 * (np.log(spread / OWN_U) / np.log(2.0)) ** 2 - np.log(spread)
    for log, u in factors:
        variance = spread**2 + u**2
        weight = weight - 0.5 * ((log - middle) ** 2 / variance + np.log(variance))
    shares = np.exp(weight - weight.max())
    shares = shares / shares.sum()
    centre = float((shares * middle).sum())
    about = float((shares * (middle - centre) ** 2).sum())
    cars = float((shares * spread**2).sum())
    known = float(np.clip(1 - about / SHOPS_U**2, 0.0, 1.0))
    return Own(float(np.exp(centre)), float(np.sqrt(cars + about)), known, len(factors))


def remember(archive: Path, session: str, came: Came, from_session: str, simulated: bool) -> Path:
    """Keep what came in an archive, in place of what was kept of that session before. Raises InputError where it cannot be written."""
    path = archive / FOLDER / f"{session}.json"
    known = {"format": 1, "session": session, "from": from_session, "simulated": simulated, "came": came.as_dict()}
    with whole(path) as part:
        part.write_text(json.dumps(_without_nan(known), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return path


def records(archive: Path, sessions: str = "sessions") -> list[Record]:
    """The history of an archive, of sessions that are still in it; what cannot be read counts for nothing."""
    found = []
    for path in sorted((archive / FOLDER).glob("*.json")):
        if not (archive / sessions / path.stem).is_dir():
            continue
        try:
            if os.stat(path).st_size > 1 << 22:
                continue
            row = json.loads(path.read_text(encoding="utf-8"))
            came = row["came"]
            log, u = came["log_factor"], came["log_u"]
            if log is None or u is None or len(came["kinds"]) != 1:
                continue
            one = Record(path.stem, str(came["kinds"][0]), float(log), float(u), bool(row["simulated"]))
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            continue
        if abs(one.log_factor) <= 3 and 0 < one.log_u <= 2:
            found.append(one)
    return found


def of_archive(archive: Path, simulated: bool = False) -> dict[str, Own]:
    """By kind what an archive's fixes say. simulated: whether it is for a simulated session, which alone goes by simulated fixes."""
    by_kind: dict[str, list[tuple[float, float]]] = {}
    for one in records(archive):
        if one.simulated == simulated:
            by_kind.setdefault(one.kind, []).append((one.log_factor, one.log_u))
    return {kind: pooled(factors) for kind, factors in by_kind.items()}


def _without_nan(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _without_nan(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(one) for one in value]
    return None if isinstance(value, float) and not np.isfinite(value) else value
