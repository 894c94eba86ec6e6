"""Makes the README's pictures from the demo: `python host/pictures/make.py` (needs Chromium)."""

import subprocess
import sys
import tempfile
from pathlib import Path

from hotfuel.report.html import browser

HERE = Path(__file__).parent


def main() -> None:
    """Make the README's pictures."""
    program = browser()
    if program is None:
        sys.exit("no Chromium or Chrome here: install one and try again")
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder) / "demo"
        subprocess.run([sys.executable, "-m", "hotfuel", "demo", "--headless", "--out", str(demo)], check=True)
        target = HERE / "review.png"
        options = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            "--window-size=1000,1280",
            "--virtual-time-budget=8000",
        ]
        subprocess.run(
            [program, *options, f"--screenshot={target}", (demo / "review.html").as_uri()], check=True, capture_output=True
        )


if __name__ == "__main__":
    main()
