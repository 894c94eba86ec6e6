"""Fetching what the board stored: interrupted at every frame, replies lost, a ring that keeps running, damage; and a stated start."""

import itertools
import struct

import pytest
from hotfuel import samples
from hotfuel.cli.download import _moment
from hotfuel.errors import InputError, LinkError
from hotfuel.log.ending import ending
from hotfuel.record.download import Fetcher, state_start
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import COMMANDS, GAP_REASONS, OUTCOMES

CHANNEL = {
    "place": b"pump",
    "chip": 1,
    "thermocouple": 75,
    "gain": 32,
    "mains_hz": 60,
    "averages": 1,
    "mode": 0,
    "resolution_bits": 19,
}


def payload(name, time_ms, **values):
    return codec.pack(name, {"tick": time_ms // 500, "time_ms": time_ms, **values})


def description(boot_count):
    about = {
        "protocol_version": 1,
        "firmware_major": 0,
        "firmware_minor": 1,
        "firmware_patch": 0,
        "board_id": b"12345678",
        "boot_count": boot_count,
    }
    return payload("description", 0, **about, reset_cause=1, period_ms=500, simulated=0, simulated_speed=0, channels=[CHANNEL])


def segment(boot_count, start_ms, readings):
    about = description(boot_count)
    frames = [about]
    for step in range(readings):
        row = {"hot": 5000 + step, "cold": 6400, "status": 0}
        frames.append(payload("reading", start_ms + 500 * step, description_id=codec.description_id(about), channels=[row]))
    return b"".join(framing.encode(frame)[1:] for frame in frames)


SEGMENTS = {7: segment(1, 500, 40), 8: segment(2, 500, 25), 9: segment(2, 13000, 3)}


class Board:
    """A port with a board behind it that stores SEGMENTS. break_after: answers before the link breaks; lose: every n-th answer is lost."""

    url = "test port"

    def __init__(self, segments=None, break_after=None, lose=0):
        self.segments = dict(SEGMENTS if segments is None else segments)
        self.break_after, self.lose = break_after, lose
        self.answers = 0
        self.asked = []
        self._reader = framing.FrameReader()
        self._out = bytearray()
        self._time_ms = 100_000

    def write(self, data):
        for one in self._reader.feed(data):
            _, values = codec.unpack(one)
            self._do(values["sequence"], values["code"], values["argument"])

    def _do(self, sequence, code, argument):
        self._time_ms += 100
        self._send("reading", description_id=1, channels=[{"hot": 1, "cold": 1, "status": 0}])
        outcome, answer = OUTCOMES["done"], b""
        if code == COMMANDS["version"]:
            answer = b"protocol=1\nfirmware=0.1.0\nlast_sequence=41"
        elif code == COMMANDS["segments"]:
            rows = [struct.pack("<HIB", number, len(data), 0) for number, data in self.segments.items()]
            answer = b"".join(rows[struct.unpack("<H", argument)[0] :])
        elif code == COMMANDS["fetch"]:
            number, offset = struct.unpack("<HI", argument)
            self.asked.append((number, offset))
            if number not in self.segments:
                outcome, answer = OUTCOMES["bad_argument"], b"there is no segment"
            else:
                self._send("data", segment=number, offset=offset, data=self.segments[number][offset : offset + 224])
        elif code == COMMANDS["forget"]:
            self.segments.pop(struct.unpack("<H", argument)[0], None)
        self._send("reply", sequence=sequence, code=code, outcome=outcome, answer=answer)

    def _send(self, name, **values):
        if name != "reading":
            self.answers += 1
            if self.break_after is not None and self.answers > self.break_after:
                raise LinkError("test port went away; plug the board in again")
            if self.lose and self.answers % self.lose == 0:
                return
        self._out += framing.encode(payload(name, self._time_ms, **values))

    def read(self, timeout_s):
        data, self._out = bytes(self._out), bytearray()
        return data


def whole_log(path):
    data = path.read_bytes()
    return [framing.decode(piece) for piece in data.split(b"\0") if piece]


def expected(segments=SEGMENTS):
    return [framing.decode(piece) for data in segments.values() for piece in data.split(b"\0") if piece]


def test_a_download_holds_every_stored_frame_in_order_and_one_anchor(tmp_path):
    fetcher = Fetcher(Board(), tmp_path)
    log = fetcher.write_log(fetcher.fetch_all())
    frames = whole_log(log)
    assert frames[1:-2] == expected()  # after the frame that says which log it is
    name, anchor = codec.unpack(frames[-2])
    assert (name, anchor["flags"]) == ("wall_anchor", 0)
    decoded = samples.decode(log)
    assert len(decoded.readings) == 68
    assert sorted(set(decoded.readings["boot"])) == [0, 1]
    assert codec.unpack(frames[-1])[1]["reason"] == GAP_REASONS["recording_ended"]
    assert ending(log, marks_end=decoded.marks_end) is None
    log.write_bytes(log.read_bytes()[: -len(framing.encode(frames[-1]))])  # a file copied in part, between two messages
    assert ending(log, marks_end=samples.decode(log).marks_end).unmarked


def test_interrupted_at_every_frame_it_resumes_where_it_stopped(tmp_path):
    """The link breaks after 1, 2, 3 ... answers; each time a new try finishes the download, and does not request pieces that had arrived whole."""
    count = 0
    for break_after in range(1, 40):
        folder = tmp_path / str(break_after)
        broken = Board(break_after=break_after)
        try:
            Fetcher(broken, folder).fetch_all()
        except LinkError:
            count += 1
        whole_before = (
            {int(path.stem) for path in (folder / "segments").glob("*.seg")} if (folder / "segments").exists() else set()
        )
        again = Board()
        fetcher = Fetcher(again, folder)
        assert whole_log(fetcher.write_log(fetcher.fetch_all()))[1:-2] == expected()
        assert not {number for number, _ in again.asked} & whole_before
    assert count > 20


@pytest.mark.parametrize("lose", [3, 5, 7])
def test_lost_answers_are_requested_again(tmp_path, monkeypatch, lose):
    monkeypatch.setattr("hotfuel.record.download.AGAIN_S", 0.02)
    monkeypatch.setattr("hotfuel.link.talk.REPLY_S", 0.02)
    board = Board(lose=lose)
    fetcher = Fetcher(board, tmp_path)
    fetcher._talk._greeted = True
    monkeypatch.setattr(fetcher, "segments", lambda: Fetcher(Board(), tmp_path).segments())
    assert whole_log(fetcher.write_log(fetcher.fetch_all()))[1:-2] == expected()
    assert len(board.asked) > len(set(board.asked))


def test_at_most_four_pieces_are_outstanding(tmp_path):
    board = Board({1: segment(1, 0, 200)})
    most = []
    send, do = board._send, board._do

    def counted(sequence, code, argument):
        if code == COMMANDS["fetch"]:
            most.append(struct.unpack("<HI", argument)[1])
        do(sequence, code, argument)

    board._do = counted
    answered = []
    board._send = lambda name, **values: (answered.append(values["offset"]) if name == "data" else None, send(name, **values))
    fetcher = Fetcher(board, tmp_path)
    fetcher.fetch_all()
    assert most == sorted(most)
    assert max(later - earlier for earlier, later in itertools.pairwise(most)) == 224


def test_a_segment_the_ring_overwrote_meanwhile_is_left_out(tmp_path):
    board = Board()
    fetcher = Fetcher(board, tmp_path)
    listed = fetcher.segments()
    del board.segments[7]
    fetcher.segments = lambda: listed
    here = fetcher.fetch_all()
    assert [one.number for one in here] == [8, 9]
    assert whole_log(fetcher.write_log(here))[1:-2] == expected({8: SEGMENTS[8], 9: SEGMENTS[9]})


def test_damage_inside_a_segment_is_found_and_nothing_of_it_is_kept(tmp_path):
    spoilt = bytearray(SEGMENTS[8])
    spoilt[100] ^= 4
    with pytest.raises(LinkError, match="segment 8 arrived damaged"):
        Fetcher(Board({8: bytes(spoilt)}), tmp_path).fetch_all()
    assert list((tmp_path / "segments").iterdir()) == []


def test_segments_are_forgotten_only_when_asked(tmp_path):
    board = Board()
    fetcher = Fetcher(board, tmp_path)
    here = fetcher.fetch_all()
    assert set(board.segments) == set(SEGMENTS)
    assert fetcher.forget(here) == 3
    assert board.segments == {}


def test_an_empty_store_is_one_sentence(tmp_path):
    fetcher = Fetcher(Board({}), tmp_path)
    with pytest.raises(InputError, match="stored nothing yet"):
        fetcher.write_log(fetcher.fetch_all())


def test_a_stated_start_anchors_the_last_boot_that_has_none(tmp_path):
    log = tmp_path / "wire.log"
    log.write_bytes(b"\0" + SEGMENTS[7] + SEGMENTS[8])
    began = 1_780_000_000.0
    with pytest.raises(InputError, match="lasted 0 min, so by --started it would end 60 min from now"):
        state_start(log, began + 3600, now_s=began + 24)
    state_start(log, began)
    decoded = samples.decode(log)
    assert not decoded.clock.known(0)
    assert decoded.clock.known(1)
    assert float(decoded.clock.wall_s(1, 500.0)) == pytest.approx(began + 500.0, abs=0.01)
    state_start(log, began - 86400)
    with pytest.raises(InputError, match="every drive in this log has a time of day"):
        state_start(log, began)


@pytest.mark.parametrize("text", ["9999-12-31 23:59", "2999-01-01", "0001-01-01", "yesterday", "2026-13-01"])
def test_a_start_in_the_future_is_refused_before_anything_is_fetched(text):
    with pytest.raises(InputError, match="future" if "999" in text else "is no date"):
        _moment(text)


def test_a_start_in_local_time_is_accepted():
    assert _moment("2026-06-01 14:05+02:00") == 1_780_315_500
