"""The recording loop on simulated links and clocks."""

import os
import re
import shutil

import pytest
import wire_logs
from hotfuel.errors import LinkError
from hotfuel.link.receive import Link
from hotfuel.log import identity
from hotfuel.log.append import LogWriter
from hotfuel.record import requests
from hotfuel.record.recorder import Recorder
from hotfuel.samples import decode
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import COMMANDS

NUMBER = codec.description_id(wire_logs.description(1))


class Played:
    """A link and its clock in one: each turn returns the next bytes, and `step_s` passes. None: the port is gone in this turn."""

    url = "played"
    problem = "played went away (unplugged); plug the board in again"

    def __init__(self, turns, step_s=0.1):
        self.turns, self.step_s, self.now, self.wall_offset = list(turns), step_s, 50.0, 1_780_000_000.0
        self.connected, self.written = True, []

    def read(self, timeout_s):
        self.now += self.step_s
        data = self.turns.pop(0) if self.turns else b""
        self.connected = data is not None
        return data or b""

    def write(self, data):
        self.written.append(codec.unpack(framing.decode(data.strip(b"\0")))[1])
        return True

    def monotonic(self):
        return self.now

    def wall(self):
        return self.now + self.wall_offset


def frame(time_ms, hot=1):
    return framing.encode(wire_logs.reading(time_ms, NUMBER, [(hot, 2, 3)]))


def record(tmp_path, turns, **more):
    """Record everything in `turns`; returns (recorder, its messages, bytes of the log, decoded log)."""
    link, said = Played(turns), []
    path = tmp_path / "wire.log"
    with LogWriter(path, clock=link.monotonic) as writer:
        made = Recorder(link, writer, say=said.append, monotonic=link.monotonic, wall=link.wall, **more)
        while link.turns:
            made.turn(0.1)
        made.run(0)
    return made, said, path.read_bytes(), decode(path)


def test_bytes_pass_through_and_anchors_give_the_time(tmp_path):
    turns = [frame(100 * n) for n in range(1, 201)]
    made, said, data, decoded = record(tmp_path, turns)
    assert said == []
    assert data.count(turns[150]) == 1
    assert len(decoded.readings) == 200
    anchors = decoded.messages["wall_anchor"]
    assert len(anchors) == 4  # 20 s, one every 5
    # turn n happens at 50 + 0.1 n, and its reading was taken at 0.1 n
    wall = decoded.clock.wall_s(0, decoded.readings["time"])
    assert wall == pytest.approx(1_780_000_050 + decoded.readings["time"], abs=1e-3)
    assert made.counts.frames == 200
    assert made.counts.gaps == 0


def test_without_host_frames_the_log_is_every_byte_received(tmp_path):
    received = [b"noise", frame(100)[:9], frame(100)[9:], b"\0\0", frame(200) + b"Traceback", frame(300)]
    _, _, data, decoded = record(tmp_path, received)
    for name in ("wall_anchor", "link_gap"):
        for row in decoded.messages[name]:
            values = {field: row[field] for field in row.dtype.names}
            data = data.replace(
                framing.encode(
                    codec.pack(
                        name, {key: int(value) for key, value in values.items() if key not in ("boot", "time", "saturated")}
                    )
                ),
                b"",
                1,
            )
    assert data[len(identity.frame(identity.new())) :] == b"".join(received)


def test_silence_is_a_gap_with_its_length(tmp_path):
    made, said, _, decoded = record(tmp_path, [frame(100), *[b""] * 49, frame(5100), frame(5200)])
    (gap,) = decoded.losses.gaps
    assert (gap.reason, gap.length_s) == ("silence", pytest.approx(5.0, abs=0.01))
    assert gap.wall_s == pytest.approx(1_780_000_050.1, abs=0.01)
    assert gap.time_s == pytest.approx(0.1)
    assert decoded.readings["time"].tolist() == [0.1, 5.1, 5.2]
    assert re.fullmatch(r"Nothing readable from the board for 2\.[01] s; still listening\.", said[0])
    assert said[1] == "Receiving again after 5.0 s."
    assert made.counts.gap_s == pytest.approx(5.0)


def test_a_clock_that_is_set_while_recording_is_said_at_once(tmp_path):
    said, link = [], Played([frame(100 * n) for n in range(1, 300)])
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic) as writer:
        made = Recorder(link, writer, say=said.append, monotonic=link.monotonic, wall=link.wall)
        for turn in range(299):
            if turn in (120, 220):
                link.wall_offset -= 3600
                before = len(said)
            made.turn(0.1)
            assert turn not in (119, 219) or len(said) == turn // 200
            if turn in (180, 280):
                assert said[before:] == [
                    "The computer's clock was set back by 60 min; all times of this recording go by the clock as it is at the end."
                ]
    (note,) = decode(tmp_path / "wire.log").clock.notes
    assert "set back by 60 min twice" in note


def test_a_clock_that_keeps_time_while_the_board_is_faster_or_restarts_is_no_set_clock(tmp_path):
    """A simulated board faster than real time; a board that starts anew."""
    _, said, *_ = record(tmp_path, [frame(20_000 * n) for n in range(1, 200)])
    assert said == []
    again = tmp_path / "again"
    again.mkdir()
    _, said, *_ = record(again, [frame(100 * (n % 70 + 1)) for n in range(1, 200)])
    assert said == []


def test_noise_is_not_a_sign_of_life(tmp_path):
    *_, decoded = record(tmp_path, [frame(100), *[b"noise \0"] * 30, frame(3200)])
    (gap,) = decoded.losses.gaps
    assert gap.reason == "silence"
    assert decoded.messages["link_gap"]["bytes_damaged"].tolist() == [30 * 6, 0]  # of the silence, and of the log's end


def test_unplugging_is_a_gap_with_its_reason(tmp_path):
    _, said, _, decoded = record(tmp_path, [frame(100), frame(200)[:10], *[None] * 10, frame(300)])
    (gap,) = decoded.losses.gaps
    assert (gap.reason, gap.length_s) == ("port_gone", pytest.approx(1.2, abs=0.01))
    assert "trying again until it is back" in said[0]
    assert len(said) == 2


def test_a_simulated_board_that_goes_has_ended_its_drive_and_no_plug_is_blamed(tmp_path):
    simulated = framing.encode(wire_logs.description(1, simulated=1, speed=1))
    _, said, _, decoded = record(tmp_path, [simulated, frame(100), *[None] * 10])
    assert said == [
        "The simulated board has gone: its drive is over, unless a fault was asked for. End the recording with Ctrl-C."
    ]
    assert decoded.losses.gaps[0].reason == "port_gone"


def test_a_gap_open_at_the_end_is_written_too(tmp_path):
    _, _, data, decoded = record(tmp_path, [frame(100), *[b""] * 40])
    assert [gap.length_s for gap in decoded.losses.gaps] == [pytest.approx(4.0, abs=0.01)]
    assert data.endswith(b"\0")


def test_a_computer_that_slept_leaves_a_gap(tmp_path):
    link = Played([frame(100)])
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        made.turn(0.1)
        link.now += 600  # nothing runs in between
        link.turns = [frame(600_200)]
        made.turn(0.1)
    (gap,) = decode(tmp_path).losses.gaps
    assert gap.length_s == pytest.approx(600.1)


def test_the_wrong_device_is_described(tmp_path):
    _, said, *_ = record(tmp_path, [b"$GPGGA,1,2\r\n"] * 25)
    assert said == ['played: this is another device; it sends text: "$GPGGA,1,2". Still listening.']


def test_marks_and_requests_are_carried_out(tmp_path):
    requests.ask(tmp_path, "mark", "before it began")
    link = Played([])
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic) as writer:
        quieted = []
        made = Recorder(
            link, writer, folder=tmp_path, monotonic=link.monotonic, wall=link.wall, acknowledge=lambda: quieted.append(1)
        )
        version = {
            "tick": 0,
            "time_ms": 50,
            "sequence": 0,
            "code": COMMANDS["version"],
            "outcome": 0,
            "answer": b"protocol=1\nlast_sequence=41\n",
        }
        link.turns = [framing.encode(codec.pack("reply", version)), frame(100)]
        made.turn(0.1)
        requests.ask(tmp_path, "mark", "stumbled é" * 60, wall_s=1_780_000_000.25)
        requests.ask(tmp_path, "acknowledge")
        with open(tmp_path / requests.NAME, "a", encoding="utf-8") as file:
            file.write(
                '{"kind": "mark"}\nnot json\n{"kind": "shutdown", "text": "", "wall_s": 1}\n[]\n{"kind": "mark", "text": "half'
            )
        made.turn(0.1)
        requests.ask(tmp_path, "end")  # joins the half line, which is then no request
        requests.ask(tmp_path, "end")
        made.run(60)
        assert link.now < 60
    marks = decode(tmp_path).messages["mark"]
    assert len(marks) == 1
    assert marks["wall_us"].tolist() == [1_780_000_000_250_000]
    assert marks["text"][0].decode() == ("stumbled é" * 60)[:200]
    assert quieted == [1]
    assert [(sent["code"], sent["sequence"]) for sent in link.written] == [
        (COMMANDS["acknowledge"], 42),
        (COMMANDS["version"], 0),
    ]


def test_a_long_mark_is_cut_at_a_whole_character(tmp_path):
    link = Played([])
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic) as writer:
        Recorder(link, writer, monotonic=link.monotonic, wall=link.wall).mark("é" * 300)
    text = decode(tmp_path).messages["mark"]["text"][0].decode()
    assert set(text) == {"é"}
    assert len(text.encode()) in (221, 222)


def test_an_unknown_request_is_answered_with_the_known_ones(tmp_path):
    with pytest.raises(ValueError, match="mark, acknowledge, end, not stop"):
        requests.ask(tmp_path, "stop")


def test_a_failing_alarm_loses_no_data(tmp_path):
    def heard(payloads):
        raise ZeroDivisionError("oh")

    _, said, _, decoded = record(tmp_path, [frame(100), frame(200), frame(300)], heard=heard)
    assert len(decoded.readings) == 3
    assert said == ["The warning does not work at this moment (ZeroDivisionError: oh); the recording goes on."]


def test_the_alarm_hears_every_payload_in_order_at_most_four_times_a_second(tmp_path):
    heard = []
    record(tmp_path, [frame(20 * n) for n in range(1, 103)], heard=lambda payloads: heard.append(list(payloads)))
    times_ms = [codec.unpack(payload)[1]["time_ms"] for payloads in heard for payload in payloads]
    assert times_ms == [20 * n for n in range(1, 103)]
    assert 10.2 * 3 < len(heard) <= 10.2 * 4 + 1  # ten turns a second, and what is left at the end


def test_a_full_disk_without_room_in_memory_is_a_gap(tmp_path):
    link, full = Played([]), [False]

    def write(fd, data):
        if full[0]:
            raise OSError(28, "No space left on device")
        return os.write(fd, data)

    with LogWriter(tmp_path / "wire.log", clock=link.monotonic, write=write, spill_max=10) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        for number in range(60):
            full[0] = 10 <= number < 30
            link.turns = [frame(100 * (number + 1))]
            made.turn(0.1)
    decoded = decode(tmp_path)
    (gap,) = decoded.losses.gaps
    assert gap.reason == "disk_full"
    assert 1.9 < gap.length_s < 3.2
    times = decoded.readings["time"]
    assert set(times[times < 0.95]) == {round(0.1 * n, 1) for n in range(1, 10)}
    assert len(times[times > 4.3]) == 17
    assert made.counts.bytes_lost > 0


def test_no_port_at_the_beginning_is_an_error_at_once():
    with pytest.raises(LinkError, match="there is no port"):
        Link("/dev/ttyNONE9")


def test_it_counts_as_begun_once_bytes_are_on_the_disk(tmp_path):
    begun = []
    link = Played([b"", b"noise", frame(100), frame(200)])
    synced = []
    with LogWriter(tmp_path / "wire.log", clock=link.monotonic, fsync=lambda fd: synced.append(os.fstat(fd).st_size)) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall, begun=lambda: begun.append(list(synced)))
        seen = []
        while link.turns:
            made.turn(0.1)
            seen.append(len(begun))
    assert seen == [0, 0, 1, 1]
    assert begun[0][-1] >= len(frame(100))


def test_continuing_after_a_crash_says_how_long_nothing_was_recorded(tmp_path):
    path = tmp_path / "wire.log"
    link = Played([framing.encode(wire_logs.description(1)), frame(100), frame(200)])
    with LogWriter(path, clock=link.monotonic) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        while link.turns:
            made.turn(0.1)
        first_id = writer.log_id
    link.turns, link.now = [frame(60_200), frame(60_300)], link.now + 60.0
    with LogWriter(path, clock=link.monotonic) as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        made.go_on(1, 2, 200, link.wall() - 60.0)
        while link.turns:
            made.turn(0.1)
        assert writer.log_id == first_id
    decoded = decode(path)
    assert decoded.messages["log_start"]["part"].tolist() == [0, 1]
    (gap,) = decoded.losses.gaps
    assert (gap.reason, round(gap.length_s), gap.boot) == ("recorder_stopped", 60, 0)
    assert set(decoded.readings["boot"].tolist()) == {0}


def test_a_clock_that_was_set_back_makes_no_negative_gap(tmp_path):
    link = Played([])
    with LogWriter(tmp_path / "wire.log") as writer:
        made = Recorder(link, writer, monotonic=link.monotonic, wall=link.wall)
        made.go_on(1, 2, 200, link.wall() + 600.0)
    assert (made.counts.gaps, made.counts.gap_s) == (1, 0.0)


def test_a_log_that_had_to_be_restarted_elsewhere_can_be_read(tmp_path, monkeypatch):
    """The disk was pulled out: the new log gets the board's last description, and requests of page and terminal are read in the new folder."""
    folder, moved = tmp_path / "stick", []
    folder.mkdir()
    new = tmp_path / "fallback"
    new.mkdir()
    link = Played([framing.encode(wire_logs.description(1)), *[frame(100 * n) for n in range(1, 80)]])
    with LogWriter(folder / "wire.log", clock=link.monotonic, fallback=lambda: new / "wire.log") as writer:
        made = Recorder(
            link, writer, monotonic=link.monotonic, wall=link.wall, folder=folder, moved=lambda folder: moved.append(folder)
        )
        while link.turns:
            if len(link.turns) == 20:
                shutil.rmtree(folder)
                monkeypatch.setattr(os, "pread", lambda *_: b"")
            if len(link.turns) == 3:
                requests.ask(new, "mark", "still here")
            made.turn(0.1)
    assert moved == [new]
    decoded = decode(new)
    assert decoded.losses.readings_without_description == 0
    ticks = decoded.readings["tick"].tolist()
    assert ticks == list(range(ticks[0], 80))
    assert ticks[0] <= 60  # nothing older than the last fsync is needed, and everything since is there
    assert [bytes(text) for text in decoded.messages["mark"]["text"]] == [b"still here"]


def test_a_disk_with_less_than_an_hour_of_space_is_reported_once(tmp_path, monkeypatch):
    free = [30e6]
    monkeypatch.setattr("hotfuel.record.room.hours", lambda folder, rate=1.0: free[0] / 40e6)
    turns = [frame(100 * n) for n in range(1, 700)]
    made, said, _, _ = record(tmp_path, turns)
    assert len([sentence for sentence in said if "room for about 45 min" in sentence]) == 1
    assert made.counts.frames == 699
