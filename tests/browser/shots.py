"""Screenshots of the page in every state at every size, for a person to look at.

python tests/browser/shots.py FOLDER [state ...]
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import fed_page
import live_rig as rig

VIEWS = (
    ("near", "day", tuple(fed_page.SIZES)),
    ("far", "day", ("phone", "phone on its side", "tablet", "laptop")),
    ("near", "night", ("laptop", "phone")),
    ("far", "night", ("laptop",)),
)
_CHOOSE = "choice => { Object.assign(document.body.dataset, choice); if (window.Charts) Charts.dress(); }"
_DRAWN = (
    "() => window.Charts && Charts.count() >= [...document.querySelectorAll('.place .limit')].filter(e => e.textContent).length"
)


def shoot(out: Path, states: tuple[str, ...]) -> None:
    """Each state in the near view by day at every size, in the far view by day at the sizes with a reading distance, and by night."""
    out.mkdir(parents=True, exist_ok=True)
    with rig.browser() as chromium, tempfile.TemporaryDirectory() as scratch:
        scenes = fed_page.Scenes(Path(scratch))
        for state in states:
            made = fed_page.FedPage(chromium, scenes, charts=True).open(fed_page.OWN.get(state, state))
            if state not in ("waiting", "no limits"):
                made.until("Boolean(window.Charts)", 120)
                made.send(fed_page.OWN.get(state, state))  # the charts' points come with a panel
                made.until(_DRAWN, 120)
            if state == "no word":
                made.disconnect()
                made.later(2500)
            for view, look, sizes in VIEWS:
                made.page.evaluate(_CHOOSE, {"view": view, "look": look})
                for size in sizes:
                    made.page.set_viewport_size(dict(zip(("width", "height"), fed_page.SIZES[size], strict=True)))
                    if state != "no word":
                        made.send(state)
                    made.page.wait_for_timeout(250)  # charts are redrawn for the size
                    if state != "no word":
                        made.send(state)
                    made.page.screenshot(path=out / f"{state}-{size}-{view}-{look}.png".replace(" ", "-"))
            made.close()


if __name__ == "__main__":
    shoot(Path(sys.argv[1]), tuple(sys.argv[2:]) or (*fed_page.SCENES, *fed_page.OWN))
