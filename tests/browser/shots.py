"""Screenshots of the page in every state at every size, to be looked at.

python tests/browser/shots.py FOLDER [state ...]
"""

import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "host" / "session")]
import live_rig as rig  # noqa: E402  its folder goes onto the path first
import staged  # noqa: E402

SIZES = {"phone": (390, 844), "phone-on-its-side": (844, 390), "tablet": (1280, 800), "laptop": (1366, 768), "wide": (2560, 1440)}
STATES = (*staged.SCENES, "stale", "ended", "waiting")

_LOOK = "([view, look]) => { Object.assign(document.body.dataset, { view, look }); if (window.Charts) Charts.dress(); }"


def shoot(out: Path, states: tuple[str, ...]) -> None:
    """Near by day at every size, far by day at phone, tablet and laptop, night on the laptop."""
    out.mkdir(parents=True, exist_ok=True)
    with rig.browser() as chromium, tempfile.TemporaryDirectory() as scratch:
        for state in states:
            scene = "act" if state in ("stale", "ended") else state
            with staged.Staged(Path(scratch) / state.replace(" ", "-"), scene) as made:
                server = rig.Server(made.folder, units="us")
                page = chromium.new_page(viewport={"width": 1366, "height": 768})
                page.goto(server.url)
                if state != "waiting":
                    page.wait_for_selector(".place", timeout=30000)
                    page.wait_for_function("() => window.Charts && window.Charts.count() > 0", timeout=60000)
                if state == "hot stop":
                    page.wait_for_selector("#forecast:not([hidden])", timeout=30000)
                if state == "stale":
                    made.stop()
                elif state == "ended":
                    made.end()
                page.wait_for_timeout(3500)
                for view, look, sizes in (
                    ("near", "day", tuple(SIZES)), ("far", "day", ("phone", "phone-on-its-side", "tablet", "laptop")), ("near", "night", ("laptop", "phone")),
                ):  # fmt: skip
                    page.evaluate(_LOOK, [view, look])
                    for size in sizes:
                        page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
                        page.wait_for_timeout(350)
                        page.screenshot(path=out / f"{state.replace(' ', '-')}-{size}-{view}-{look}.png")
                page.close()
                server.close()


if __name__ == "__main__":
    shoot(Path(sys.argv[1]), tuple(sys.argv[2:]) or STATES)
