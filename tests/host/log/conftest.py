"""samples/wire_logs.py, which makes logs, and disks.py, whose disks fail, on the path."""

import sys
from pathlib import Path

for _folder in (Path(__file__).parent.parent / "samples", Path(__file__).parent):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))
