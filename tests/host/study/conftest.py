"""The helpers of these tests on the path, from a folder that holds nothing else: a folder here is called power, as a module of the board is."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "driving"))
