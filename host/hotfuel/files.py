"""Files that are there whole or not at all: what stood there before stays until the new one is complete."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from hotfuel.errors import InputError


@contextlib.contextmanager
def whole(path: str | Path) -> Iterator[Path]:
    """The path of a part file beside `path` (same ending) to write to; it takes `path`'s place when the block ends well.

    Whatever ends the block otherwise - a mistake, a full disk, Ctrl-C - leaves no part file and an older `path` as it was. Folders are made.
    Raises InputError if the place cannot be written.
    """
    target = Path(path)
    part = target.with_name(f"{target.stem}.part{target.suffix}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        yield part
        os.replace(part, target)
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror or error}): give another place, or make room") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
