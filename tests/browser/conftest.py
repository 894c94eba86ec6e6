"""One browser, and one page with test data, shared by all tests that only look at it."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import live_rig as rig


@pytest.fixture(scope="session")
def chromium():
    """A headless browser."""
    if rig.missing():
        pytest.skip(rig.missing())
    with rig.browser() as started:
        yield started


@pytest.fixture(scope="session")
def scenes(tmp_path_factory):
    """Staged recordings as the page receives them, each made on first use."""
    import fed_page

    return fed_page.Scenes(tmp_path_factory.mktemp("scenes"))


@pytest.fixture(scope="module")
def shared(chromium, scenes):
    """One page for all tests that only look at it."""
    import fed_page

    made = fed_page.FedPage(chromium, scenes).open()
    yield made
    assert made.complaints == []
    made.close()


@pytest.fixture
def seen(shared):
    """That page in the near view, by day, at the laptop's size, showing "quiet"."""
    shared.look()
    return shared
