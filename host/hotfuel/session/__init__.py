"""A recording as a whole. The lowest room that uses pandas, which is loaded with the first session that is opened: a recorder opens none."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hotfuel.session.recording import Session, open

__all__ = ["Session", "open"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from hotfuel.session import recording

    globals().update({public: getattr(recording, public) for public in __all__})
    return globals()[name]
