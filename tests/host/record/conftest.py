"""samples/wire_logs.py, which makes logs, on the path."""

import sys
from pathlib import Path

_FOLDER = str(Path(__file__).parent.parent / "samples")
if _FOLDER not in sys.path:
    sys.path.insert(0, _FOLDER)
