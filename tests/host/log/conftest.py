"""The maker of logs (samples/wire_logs.py) and the disks that fail (disks.py) on the path."""

import sys
from pathlib import Path

for _folder in (Path(__file__).parent.parent / "samples", Path(__file__).parent):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))
