"""A recording as a whole. pandas enters the house here."""

from hotfuel.session.recording import Session, open

__all__ = ["Session", "open"]
