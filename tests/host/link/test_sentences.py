"""Sentences out of a stream: complete, in any pieces, between junk; and a receiver's port that disappears."""

from itertools import pairwise

import pytest
from hotfuel.errors import LinkError
from hotfuel.link.sentences import SENTENCE_MAX, Receiver, SentenceReader
from hypothesis import given
from hypothesis import strategies as st

WHOLE = [b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", b"$GPGGA,,,,,,0,,,,,,,,*66"]


@given(
    st.lists(st.sampled_from(WHOLE), max_size=8),
    st.lists(st.integers(0, 400), max_size=6),
    st.sampled_from([b"\r\n", b"\n", b"\r"]),
)
def test_pieces_of_any_size_give_the_same_sentences(texts, cuts, end):
    data = b"".join(text + end for text in texts)
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    reader = SentenceReader()
    found = [text for a, b in pairwise(edges) for text in reader.feed(data[a:b])]
    assert found == texts
    assert reader.bytes_dropped == 0


@given(st.binary(max_size=300))
def test_every_byte_is_in_a_sentence_or_counted(data):
    reader = SentenceReader()
    found = reader.feed(data + b"\n")
    ends = sum(data.count(end) for end in b"\r\n")
    assert sum(map(len, found)) + reader.bytes_dropped <= len(data)
    assert sum(map(len, found)) + reader.bytes_dropped >= len(data) - ends
    assert all(text.startswith(b"$") and len(text) <= SENTENCE_MAX and text.isascii() and text.count(b"$") == 1 for text in found)


def test_junk_a_wrong_speed_and_a_broken_line_cost_only_the_affected_sentences():
    reader = SentenceReader()
    assert reader.feed(
        b"\xff\x00\x7f4807.0\r\n" + WHOLE[0] + b"\r\n$GPGG" + WHOLE[1] + b"\r\n$" + b"x" * 500 + b"\n" + WHOLE[0] + b"\n"
    ) == [
        WHOLE[0],
        WHOLE[1],
        WHOLE[0],
    ]
    assert reader.bytes_dropped == 9 + 5 + 501


class Port:
    def __init__(self, pieces):
        self.pieces, self.url = list(pieces), "COM9"

    def read(self, timeout_s):
        piece = self.pieces.pop(0) if self.pieces else b""
        if piece is None:
            raise LinkError("COM9 went away")
        return piece

    def close(self):
        pass


def test_a_receiver_that_disappears_comes_back_and_never_raises(monkeypatch):
    ports = [Port([WHOLE[0][:20], WHOLE[0][20:] + b"\r\n", None]), Port([b"x\n" + WHOLE[1] + b"\r\n"])]
    receiver = Receiver("COM9", open_port=lambda url: ports.pop(0))
    assert receiver.sentences() == []
    assert receiver.sentences() == [WHOLE[0]]
    assert receiver.sentences() == []
    assert not receiver.connected
    monkeypatch.setattr(receiver._link, "_next_try", 0.0)
    assert receiver.sentences() == [WHOLE[1]]
    assert receiver.connected
    with pytest.raises(LinkError):
        Receiver("COM9", open_port=lambda url: (_ for _ in ()).throw(LinkError("there is no port COM9")))
