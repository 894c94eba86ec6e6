"""Every trial on the emulated board; they run where HOTFUEL_BOARD_IMAGE names an image. They take minutes each and are marked slow."""

import pytest

# the names of trials.py, which cannot be imported without the emulator
NAMES = (
    "boot_time",
    "install",
    "install_cut",
    "upgrade",
    "power_cuts",
    "causes",
    "failed_module",
    "lamp",
    "families",
    "rates",
    "further_inputs",
    "silent_host",
    "loose_plug",
    "bit_errors",
    "download",
    "full_flash",
    "damaged_settings",
    "swapped_chips",
    "held_bus",
    "stopped_amplifier",
    "self_test",
)


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("name", NAMES)
def test_trial(rig, name):
    from emulated.trials import TRIALS

    try:
        rows = TRIALS[name](rig)
    except LookupError as nothing_to_upgrade_from:
        pytest.skip(str(nothing_to_upgrade_from))
    assert rows
    failed = [f"{row.trial}: {row.found}" for row in rows if not row.holds]
    assert not failed, "; ".join(failed)


@pytest.mark.slow
def test_every_trial_is_listed(rig):
    from emulated.trials import TRIALS

    assert tuple(TRIALS) == NAMES
