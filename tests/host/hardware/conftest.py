import sys
from pathlib import Path

_FOLDER = str(Path(__file__).parent)  # this folder's helper
if _FOLDER not in sys.path:
    sys.path.insert(0, _FOLDER)
