"""A satellite receiver at the board: what is sent to the host, what is stored, and the effect of damage."""

from pathlib import Path

import pytest
from hotfuel.session.positions import fix_of
from hotfuel.simulator import circuit
from hotfuel_wire import codec
from hotfuel_wire.messages import FAILED
from test_application import only, run  # noqa: F401 - the fixture

HERE = Path(__file__).parent


def rmc(tenth):
    """As board_more.py's receiver sends it."""
    north, east = 2835.5 + tenth * 0.00123, 1330.25 - tenth * 0.00081
    body = "GPRMC,1530%05.2f,A,%09.4f,S,%010.4f,W,38.%d,12.5,280526,,,A" % (tenth / 10, north, 10000 + east, tenth % 10)
    return circuit.closed(body)


def test_sentences_are_passed_on_unchanged_and_positions_stored_once_a_second(run):  # noqa: F811
    messages, found = run("receiver", "board_more.py", "448K")
    said = [values["text"] for values in only(messages, "receiver_sentence")]
    sent = [rmc(tenth) for tenth in (*range(120), 300)]
    assert all(text in sent for text in said), "unchanged"
    assert all(b"RMC" in text for text in said), "GGA has the same position and no speed"
    assert len(said) >= 5 * 12 - 3, "five a second of the ten received"
    assert len(said) <= 5 * 12 + 2
    tracks = only(messages, "track")
    assert [len(values["steps"]) for values in tracks][:1] == [9]
    # every position of a track is that of the sentence of its second, to 1e-5 minutes (2 cm)
    by_time = {fix.time_s: fix for fix in map(fix_of, sent) if fix is not None}
    count = 0
    for values in tracks:
        time_cs, north, east = values["time_cs"], values["latitude"], values["longitude"]
        for step in [None, *values["steps"]]:
            if step is not None:
                time_cs, north, east = time_cs + step["later_cs"], north + step["north"], east + step["east"]
            fix = by_time[time_cs / 100]
            assert north / 60e5 == pytest.approx(fix.latitude_deg, abs=2.1e-7)
            assert east / 60e5 == pytest.approx(fix.longitude_deg, abs=2.1e-7)
            count += 1
    assert count >= 12
    size = max(len(codec.pack("track", {**values, "saturated": False})) for values in tracks) + 6
    assert size / 10 < 11  # bytes a second in the store
    assert found["silent"] == FAILED["receiver"], "no sentence for 10 s is reported"
    assert found["heard"] == 0
    assert found["off"] == [0, 0], "not in the settings, it is not read"
    check = dict(line.split("=") for line in found["check"].split("\n"))
    assert int(check["receiver_good"]) == len([text for text in said if text != rmc(300)])
    assert (check["fitted"], check["receiver_fixed"]) == ("receiver", "1")


def test_parsing_a_sentence_allocates_nothing(micropython, board_path):
    assert micropython(HERE / "board_receiver.py", path=board_path) == "40 sentences, 2 bad, 0 bytes\n"
