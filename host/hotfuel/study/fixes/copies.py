"""The same recording given more than once: a copied folder, a longer and a shorter copy, a download of what was recorded too. It is one run, not two."""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from hotfuel.errors import InputError
from hotfuel.log import identity as log_identity
from hotfuel.session.recording import Session

_ALIKE = 0.9  # of the readings of one tick: a board that cannot keep its count of starts numbers other readings the same
_COMMON, _LEAST = 0.1, 10  # of the shorter recording's readings, and at least: fewer say nothing


def identity(session: Session) -> str:
    """Identifies a recording by its file, because several may have the same title."""
    return str(session.folder.log_path.resolve())


def each_once(groups: Mapping[str, Sequence[Session]]) -> None:
    """Raises InputError, one sentence, where one recording would count as two runs. One file under several names is cut at its marks, and is none."""
    every = [(name, session) for name, sessions in groups.items() for session in sessions]
    for name, sessions in groups.items():
        if len({identity(session) for session in sessions}) < len(sessions):
            raise InputError(f"{name} has the same recording twice: a run counts once, give each session once")
    for i, j in copies([session for _, session in every]):
        (first, one), (second, other) = every[i], every[j]
        if identity(one) != identity(other):
            raise InputError(
                f"{other.folder.path} ({second}) is the same recording as {one.folder.path} ({first}), whole or in part: a run counts once, give one of them"
            )


def distinct(sessions: Sequence[Session]) -> list[Session]:
    """Each recording once: of copies the longest."""
    longest = sorted(sessions, key=lambda session: -len(session.decoded.scans))
    out = {j for _, j in copies(longest)}
    kept = {id(session) for i, session in enumerate(longest) if i not in out}
    return [session for session in sessions if id(session) in kept]


def copies(sessions: Sequence[Session]) -> list[tuple[int, int]]:
    """Which two are the same recording, the earlier given first."""
    files = [identity(session) for session in sessions]
    numbers = [log_identity.told(log_identity.head(session.folder.log_path)) for session in sessions]
    starts = [frozenset(np.unique(session.decoded.scans["description_id"]).tolist()) for session in sessions]
    return [
        (i, j)
        for i, j in combinations(range(len(sessions)), 2)
        if files[i] == files[j]
        or (numbers[i] is not None and numbers[i] == numbers[j])
        or _share(sessions[i].decoded.scans, sessions[j].decoded.scans, starts[i] & starts[j])
    ]


def _share(one: np.ndarray, other: np.ndarray, starts: frozenset[int]) -> bool:
    """Whether both hold the same readings: of the same starts of one board (a description's number tells both), with the same ticks and codes."""
    common = alike = 0
    for start in starts:
        mine, theirs = (scans[scans["description_id"] == start] for scans in (one, other))
        _, i, j = np.intersect1d(mine["tick"], theirs["tick"], return_indices=True)
        width = min(mine["channels"].shape[1], theirs["channels"].shape[1])
        common += len(i)
        alike += int((mine["channels"][i, :width] == theirs["channels"][j, :width]).all(axis=1).sum())
    return common >= max(_LEAST, _COMMON * min(len(one), len(other))) and alike >= _ALIKE * common
