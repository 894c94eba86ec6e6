"""Libraries that take seconds to import, loaded only by the worker that runs their tests."""

import pytest


@pytest.fixture(scope="session")
def coolprop():
    return pytest.importorskip("CoolProp.CoolProp")


@pytest.fixture(scope="session")
def formula():
    return pytest.importorskip("statsmodels.formula.api")
