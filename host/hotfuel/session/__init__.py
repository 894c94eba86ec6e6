"""A recording as a whole. The lowest room that uses pandas."""

from hotfuel.session.recording import Session, open

__all__ = ["Session", "open"]
