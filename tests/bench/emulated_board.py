"""The unmodified firmware on an emulated RP2040 under the official MicroPython image: `python tests/bench/emulated_board.py --image FILE.uf2 [trial ...]`.

The image is not part of this project: take RPI_PICO's latest .uf2 from https://micropython.org/download/RPI_PICO/. Needs `pip
install -e '.[emulator]'`. Each trial prints its rows as it ends; all of them take a quarter of an hour to an hour of one core.
Exit code 1 when a row is not as it should be.
"""

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from emulated import CANNOT
from emulated.rig import Rig, Row
from emulated.trials import TRIALS

WIDTH = 54


def shown(row: Row) -> str:
    """A row as a line."""
    return f"{'as it should be' if row.holds else 'NOT AS IT SHOULD':16s} {row.trial:{WIDTH}s} {row.found}"


def main() -> int:
    """Runs the trials named, or all."""
    parser = argparse.ArgumentParser(description="Trials of the firmware on an emulated board.")
    parser.add_argument("--image", type=Path, required=True, help="a MicroPython image for the Raspberry Pi Pico, .uf2")
    parser.add_argument("trials", nargs="*", metavar="trial", help=f"which ones; there are {', '.join(TRIALS)}")
    asked = parser.parse_args()
    if not asked.image.is_file():
        parser.error(f"{asked.image} is not a file; take RPI_PICO's .uf2 from https://micropython.org/download/RPI_PICO/")
    unknown = [name for name in asked.trials if name not in TRIALS]
    if unknown:
        parser.error(f"there is no trial {', '.join(unknown)}; there are {', '.join(TRIALS)}")
    rig, all_hold = Rig(asked.image), True
    for name in asked.trials or TRIALS:
        begun = time.process_time()
        try:
            rows = TRIALS[name](rig)
        except (RuntimeError, TimeoutError) as failed:
            rows = [Row(name, f"did not end: {str(failed).strip().splitlines()[-1]}", False)]
        except LookupError as why_not:
            print(f"{'left out':16s} {name:{WIDTH}s} {why_not}")
            continue
        for row in rows:
            print(shown(row), flush=True)
            all_hold = all_hold and row.holds
        print(f"{'':16s} {name} took {time.process_time() - begun:.0f} s here, without its copies", file=sys.stderr, flush=True)
    print("\nWhat the emulator cannot do:")
    for line in CANNOT:
        print(f"- {line}")
    return 0 if all_hold else 1


if __name__ == "__main__":
    sys.exit(main())
