"""Draws the SVG files of this folder from firmware/pins.py and firmware/lamp.py: python hardware/draw.py [--check]"""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "firmware"), str(HERE.parent / "protocol")]

import box  # noqa: E402  the path is set first
import further  # noqa: E402  the path is set first
import lamp  # noqa: E402  the path is set first
import pins  # noqa: E402
import pod  # noqa: E402
import views  # noqa: E402
from wiring import left_half, right_half, wiring  # noqa: E402


def drawings():
    """File name -> text, for every drawing."""
    return {
        "wiring.svg": wiring(pins).svg(),
        "wiring-left.svg": left_half(pins).svg(),
        "wiring-right.svg": right_half(pins).svg(),
        "pins.svg": views.pin_map(pins).svg(),
        "lamp.svg": views.lamp_card(lamp).svg(),
        "car.svg": views.car().svg(),
        "placement.svg": views.placement().svg(),
        "stripboard.svg": box.stripboard().svg(),
        "drilling.svg": box.drilling().svg(),
        "pod.svg": pod.pod().svg(),
        "further.svg": further.further(pins).svg(),
    }


def main(arguments):
    """Writes the drawings; with --check only lists those that are out of date."""
    stale = []
    for name, text in drawings().items():
        path = HERE / name
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if "--check" not in arguments:
            path.write_text(text, encoding="utf-8")
    print("\n".join(stale) or "all drawings are as drawn now")
    return 1 if stale and "--check" in arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
