"""engine_drives.py, which makes disturbed drives, on the path."""

import sys
from pathlib import Path

_FOLDER = str(Path(__file__).parent)
if _FOLDER not in sys.path:
    sys.path.insert(0, _FOLDER)
