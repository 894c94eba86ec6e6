"""Settings are taken whole or not at all, and power may fail while they are stored."""

import builtins
import io
from pathlib import Path

import pytest
import settings as configuration
from hypothesis import given
from hypothesis import strategies as st
from twinfile import TwinFile


def test_defaults_are_consistent_and_every_row_has_one():
    configuration.check(configuration.defaults())
    assert configuration.defaults()["rate_hz"] == 5
    assert configuration.defaults()["mode"] == "one_shot"
    for name, value in configuration.defaults().items():
        assert configuration.parse(name, configuration.show(name, value).split("=")[1]) == value


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("rate_hz=3", "rate_hz is 3; allowed: 1, 2, 5, 10"),
        ("rate_hz=-5", "rate_hz is -5; allowed"),
        ("rate_hz=5_0", "rate_hz is 5_0"),
        ("rate_hz=²", "rate_hz is ²"),
        ("rate_hz=", "rate_hz is ; allowed"),
        ("rate_hz", "rate_hz is not name=value"),
        ("speed=5", "no setting speed; there are after_key_off_min, averages, barometer"),
        ("mode=fast", "mode: fast; allowed: one_shot, automatic"),
        ("rate_hz=10", "rate_hz is 10; with mode=one_shot and mains_hz=60 allowed: 1, 2, 5"),
        ("mode=automatic\nmains_hz=50\nrate_hz=10", "rate_hz is 10; with mode=automatic and mains_hz=50 allowed: 1, 2, 5"),
        ("averages=4", "averages is 4; with mode=one_shot, mains_hz=60 and rate_hz=5 allowed: at most 2"),
        ("chips=MAX31856", "3 places for 1 chips; set them together"),
        ("chips=", "0 chips; allowed: 1 to 8"),
        ("places=tank,tank,pump", "one stands twice"),
        ("places=tank,pump,carburettor-x", "allowed: 1 to 12 ASCII letters"),
        ("places=tank,pump,c b", "allowed: 1 to 12 ASCII letters"),
        ("places=tank,,pump", "allowed: 1 to 12"),
        ("chips=MCP9601,MCP9601,MAX31855\ni2c_addresses=96,96,0", "96 for a MCP9601; each needs its own"),
        ("chips=MCP9601,MAX31856,MAX31855\ni2c_addresses=0,0,0", "0 for a MCP9601"),
        ("mode=automatic\nrate_hz=10\nchips=MAX31856,MAX31856,MAX31855", "the MAX31855 allows at most 5"),
        ("after_key_off_min=1441", "after_key_off_min is 1441; allowed: 0 to 1440"),
        ("rate_hz=2\n\nmode=automatic", "is not name=value"),
        ("", "is not name=value"),
    ],
)
def test_refused(text, says):
    old = configuration.defaults()
    with pytest.raises(configuration.SettingsError) as caught:
        configuration.changed(old, text)
    assert says in str(caught.value)
    assert old == configuration.defaults()


def test_a_mixed_board():
    new = configuration.changed(
        configuration.defaults(),
        "chips=MAX31856,MAX31855,MCP9601,MCP9600\nplaces=tank,pump,line,carb\ni2c_addresses=0,0,96,103\nrate_hz=2\naverages=8",
    )
    assert new["chips"] == ("MAX31856", "MAX31855", "MCP9601", "MCP9600")


def test_eight_channels_fit_one_change_and_the_file():
    text = (
        "chips="
        + ",".join(["MAX31856"] * 8)
        + "\nplaces="
        + ",".join(f"place_no_{n}" for n in range(8))
        + "\ni2c_addresses=0"
        + ",0" * 7
    )
    assert len(text) <= 223  # a command's argument
    assert len(configuration.changed(configuration.defaults(), text)["places"]) == 8


@given(
    st.text(max_size=120)
    | st.lists(st.sampled_from([*configuration.ROWS, "=", "5", ",", "\n", "MAX31856", "-", " "]), max_size=12).map("".join)
)
def test_any_text_is_taken_or_refused_with_a_reason(text):
    old = configuration.defaults()
    reason = ""
    try:
        configuration.check(configuration.changed(old, text))
    except configuration.SettingsError as error:
        reason = str(error)
    assert len(reason) == 0 or any(
        word in reason for word in ("allowed", "there are", "name=value", "each needs", "together", "at most")
    )
    assert old == configuration.defaults()


def test_stored_and_loaded(tmp_path):
    twin = TwinFile("settings", f"{tmp_path}/")
    assert configuration.load(twin) == (configuration.defaults(), "")
    new = configuration.changed(configuration.defaults(), "mode=automatic\nrate_hz=10\nbuzzer=1")
    configuration.save(twin, new)
    assert configuration.load(TwinFile("settings", f"{tmp_path}/")) == (new, "")
    configuration.save(twin, configuration.defaults())
    assert configuration.load(twin) == (configuration.defaults(), "")


@pytest.mark.parametrize("booted_before", [False, True])
def test_two_damaged_copies_are_reported_and_no_input_is_assumed(tmp_path, booted_before):
    twin = TwinFile("settings", f"{tmp_path}/")
    assert not twin.spoiled()
    for rate_hz in ("1", "2"):
        configuration.save(twin, configuration.changed(configuration.defaults(), f"rate_hz={rate_hz}\ninputs=battery"))
    damaged = {}
    for number, path in enumerate(sorted(tmp_path.iterdir())):
        assert not twin.spoiled(), number
        path.write_bytes(path.read_bytes()[:-1] + b"?")
        damaged[path.name] = path.read_bytes()
    settings, why = configuration.load(TwinFile("settings", f"{tmp_path}/"), booted_before)
    assert (settings, twin.spoiled()) == (configuration.defaults(), True)
    assert settings["inputs"] == () and "damaged" in why
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == damaged, "nothing is overwritten"


ALL = ("barometer", "battery", "fuel_pressure", "engine_pulses", "ignition", "mark_button")


def test_a_new_board_assumes_no_input_also_at_its_second_boot(tmp_path):
    twin = TwinFile("settings", f"{tmp_path}/")
    for booted_before in (False, True, True):
        settings, reason = configuration.load(twin, booted_before)
        assert (settings["inputs"], settings["inputs_confirmed"], reason) == ((), 1, "")


@pytest.mark.parametrize("stored", [None, b"rate_hz=5", b"buzzer=1\nmode=automatic\nrate_hz=10"])
def test_an_upgrade_keeps_the_inputs_an_older_board_had_by_default(tmp_path, stored):
    """Version 0.1 stored only what differed from its defaults, and all inputs were among its defaults."""
    twin = TwinFile("settings", f"{tmp_path}/")
    if stored:
        twin.save(stored)
    for _ in range(2):
        settings, reason = configuration.load(twin, True)
        assert (settings["inputs"], settings["inputs_confirmed"], reason) == (ALL, 0, "")
        assert settings["rate_hz"] == (10 if stored and b"10" in stored else 5)
    configuration.save(twin, configuration.changed(settings, "inputs=battery,ignition"))
    assert configuration.load(twin, True)[0]["inputs_confirmed"] == 1, "named once, and not decided again"
    assert configuration.load(twin, True)[0]["inputs"] == ("battery", "ignition")


def test_an_upgrade_keeps_inputs_that_were_named(tmp_path):
    twin = TwinFile("settings", f"{tmp_path}/")
    twin.save(b"inputs=ignition\nunits=us")
    settings, _ = configuration.load(twin, True)
    assert (settings["inputs"], settings["inputs_confirmed"], settings["units"]) == (("ignition",), 1, "us")


def test_settings_of_another_version_leave_the_defaults_and_give_the_reason(tmp_path):
    twin = TwinFile("settings", f"{tmp_path}/")
    twin.save(b"rate_hz=5\nturbo=1")
    loaded, reason = configuration.load(twin)
    assert loaded == configuration.defaults()
    assert "no setting turbo" in reason
    twin.save(b"\xff\xfe")
    assert configuration.load(twin)[1]


@given(st.lists(st.binary(max_size=80), min_size=1, max_size=6))
def test_the_twin_file_returns_what_was_saved_last(tmp_path_factory, contents):
    twin = TwinFile("x", f"{tmp_path_factory.mktemp('twin')}/")
    assert twin.load() is None
    for content in contents:
        twin.save(content)
        assert twin.load() == content


def test_power_cut_at_every_byte_keeps_the_old_or_has_the_new(tmp_path):
    """The file being written stops at any byte; the previous one stays whole."""
    folder = f"{tmp_path}/"
    TwinFile("x", folder).save(b"first")
    TwinFile("x", folder).save(b"second")
    older, newer = tmp_path / "x_a", tmp_path / "x_b"
    assert b"first" in older.read_bytes()
    TwinFile("x", folder).save(b"third")
    whole = older.read_bytes()
    kept = newer.read_bytes()
    for length in range(len(whole)):
        older.write_bytes(whole[:length])
        assert TwinFile("x", folder).load() == b"second"
        TwinFile("x", folder).save(b"fourth")  # over the torn copy, never over the good one
        assert newer.read_bytes() == kept
        assert TwinFile("x", folder).load() == b"fourth"
    for bit in range(8 * len(whole)):
        torn = bytearray(whole)
        torn[bit // 8] ^= 1 << bit % 8
        older.write_bytes(bytes(torn))
        assert TwinFile("x", folder).load() == b"second"


def test_a_file_system_that_refuses_keeps_the_old_settings(tmp_path, monkeypatch):
    folder = f"{tmp_path}/"
    twin = TwinFile("x", folder)
    twin.save(b"first")
    real = builtins.open

    class Full(io.BytesIO):
        def write(self, data):
            raise OSError(28)

    monkeypatch.setattr(builtins, "open", lambda path, mode: Full() if mode == "wb" else real(path, mode))
    with pytest.raises(OSError, match="28"):
        twin.save(b"second")
    assert twin.load() == b"first"


def test_a_write_that_does_not_read_back_is_an_error(tmp_path, monkeypatch):
    twin = TwinFile("x", f"{tmp_path}/")
    twin.save(b"first")
    real = builtins.open

    class Losing(io.BytesIO):
        pass

    monkeypatch.setattr(builtins, "open", lambda path, mode: Losing() if mode == "wb" else real(path, mode))
    with pytest.raises(OSError, match="does not read back"):
        twin.save(b"second")
    monkeypatch.undo()
    assert twin.load() == b"first"


def test_power_cuts_on_the_boards_own_file_system(micropython, board_path):
    out = micropython(Path(__file__).parent / "board_twin.py", path=board_path, heap="4M")
    last = out.strip().splitlines()[-1]  # printed before it: the interpreter closing files that were open when power failed
    assert last.startswith("power cut at each of ")
    assert int(last.split()[5]) > 50
    assert last.endswith("settings lost: 0")
