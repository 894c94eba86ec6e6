"""What sessions are called beside one another: by name, and where several have the same, with the start too, then with the folder."""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from hotfuel.session.recording import Session
from hotfuel.study.fixes.copies import identity
from hotfuel.text import told_apart


def called(sessions: Sequence[Session]) -> dict[str, str]:
    """{identity: what to call that session}. Where names were taken out for sharing, a number stands for the folder."""
    unique = {identity(session): session for session in sessions}
    every = list(unique.values())
    folders = [str(n) if session.take_out else _folder(session, every) for n, session in enumerate(every, start=1)]
    return dict(zip(unique, told_apart([one.name for one in every], [_began(one) for one in every], folders), strict=True))


def _began(session: Session) -> str:
    """Date and time of its start, local where that is known; "" without a clock."""
    index = session.ticks.index
    if not len(index) or not isinstance(index, pd.DatetimeIndex):
        return ""
    return f"{index[0] + pd.Timedelta(minutes=session.metadata.get('utc_offset_min') or 0):%-d %B %Y, %H:%M}"


def _folder(session: Session, others: Sequence[Session]) -> str:
    """Its folder, without the path to it where that is enough."""
    log: Path = session.folder.log_path
    same = sum(other.folder.log_path.parent.name == log.parent.name for other in others)
    return log.parent.name if same == 1 else str(log)
