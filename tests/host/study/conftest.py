"""The helpers of these tests on the path, from a folder that holds nothing else: a folder here is called power, like a module of the board."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "driving"))
