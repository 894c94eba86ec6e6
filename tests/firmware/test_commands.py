"""Every command gets one answer; damaged, malformed, repeated and outdated ones change nothing and raise nothing."""

import pytest
from commands import ANSWER_MAX, Commands, Refused
from hotfuel_wire import codec, framing
from hotfuel_wire.messages import COMMANDS, OUTCOMES
from hypothesis import given
from hypothesis import strategies as st


class Desk:
    """Commands: one handler that changes something, one that only reads, one that fails and one that refuses."""

    def __init__(self):
        self.changes = []
        self.replies = []
        self.commands = Commands(lambda name, reply: self.replies.append((name, reply)))
        self.commands.register("mark", self.mark)
        self.commands.register("version", lambda argument: b"1", asks_only=True)
        self.commands.register("identify", lambda argument: 1 // 0)
        self.commands.register("clock", self.refuse)

    def mark(self, argument):
        self.changes.append(bytes(argument))
        return b"m%d" % len(self.changes)

    def refuse(self, argument):
        raise Refused("bad_argument", "it is late")

    def send(self, sequence, name, argument=b""):
        """The reply's (sequence, outcome name, answer)."""
        before = len(self.replies)
        self.commands.receive(frame(sequence, COMMANDS[name], argument))
        assert len(self.replies) == before + 1, "one command, one reply"
        name, reply = self.replies[-1]
        assert name == "reply"
        codec.pack("reply", {**reply, "tick": 0, "time_ms": 0})  # fits the wire
        return reply["sequence"], next(key for key, value in OUTCOMES.items() if value == reply["outcome"]), reply["answer"]


def frame(sequence, code, argument=b""):
    return framing.encode(
        codec.pack("command", {"tick": 0, "time_ms": 0, "sequence": sequence, "code": code, "argument": argument})
    )


def test_done_refused_failed_unknown_not_fitted():
    desk = Desk()
    assert desk.send(1, "mark", b"hello") == (1, "done", b"m1")
    assert desk.send(2, "clock") == (2, "bad_argument", b"it is late")
    sequence, outcome, answer = desk.send(3, "identify")
    assert (sequence, outcome) == (3, "failed")
    assert answer.startswith(b"ZeroDivisionError: ")
    assert desk.send(4, "fetch") == (4, "not_fitted", b"this board lacks the part for it")
    desk.commands.receive(frame(5, 200))
    assert desk.replies[-1][1] == {
        "sequence": 5,
        "code": 200,
        "outcome": OUTCOMES["unknown_command"],
        "answer": b"no command 200",
    }
    assert desk.changes == [b"hello"]


def test_a_repeated_command_gets_the_same_reply_and_an_older_one_is_stale():
    desk = Desk()
    desk.send(7, "mark", b"a")
    assert desk.send(7, "mark", b"a") == (7, "done", b"m1")
    assert desk.changes == [b"a"]
    assert desk.send(7, "mark", b"b") == (7, "stale", b"sequence 7 is not newer than the last, 7")
    assert desk.send(6, "mark", b"c")[1] == "stale"
    assert desk.send(8, "mark", b"d") == (8, "done", b"m2")
    assert desk.send(7, "mark", b"a")[1] == "stale", "a recording of the first, replayed later"
    assert desk.changes == [b"a", b"d"]


def test_sequence_numbers_wrap():
    desk = Desk()
    for number, sequence in enumerate((65534, 65535, 0, 1, 0x7FFF)):
        assert desk.send(sequence, "mark", b"%d" % number)[1] == "done"
    assert desk.send(0xFFFF, "mark")[1] == "stale"
    assert len(desk.changes) == 5


def test_commands_that_only_read_need_no_new_number_and_use_none_up():
    desk = Desk()
    desk.send(9, "mark", b"a")
    for sequence in (0, 9, 9, 60000):
        assert desk.send(sequence, "version") == (sequence, "done", b"1")
    assert desk.commands.last_sequence == 9


def test_a_failed_command_repeated_is_not_tried_again():
    desk = Desk()
    first = desk.send(1, "identify")
    assert desk.send(1, "identify") == first
    assert desk.commands.last_sequence == 1


def test_a_malformed_command_is_answered_where_its_number_can_be_read():
    desk = Desk()
    payload = bytearray(codec.pack("command", {"tick": 0, "time_ms": 0, "sequence": 0x1234, "code": 6, "argument": b"abc"}))
    payload[12] = 200  # claims that 200 bytes follow
    desk.commands.receive(framing.encode(bytes(payload)))
    reply = desk.replies[-1][1]
    assert (reply["sequence"], reply["outcome"]) == (0x1234, OUTCOMES["bad_argument"])
    assert b"this one has" in reply["answer"]
    desk.commands.receive(framing.encode(bytes(payload[:5])))
    assert len(desk.replies) == 1
    assert desk.changes == []


def test_a_long_answer_is_cut_to_what_fits():
    desk = Desk()
    desk.commands.register("info", lambda argument: b"x" * 400, asks_only=True)
    assert desk.send(1, "info")[2] == b"x" * ANSWER_MAX


@pytest.mark.parametrize("size", [1, 2, 7, 1000])
def test_pieces_of_any_size_with_junk_between(size):
    desk = Desk()
    stream = b"\x03\x04junk" + frame(1, COMMANDS["mark"], b"a\x00b") + b"more junk\x00\x00" + frame(2, COMMANDS["mark"], b"c")
    for at in range(0, len(stream), size):
        desk.commands.receive(stream[at : at + size])
    assert desk.changes == [b"a\x00b", b"c"]


GOOD = [frame(number + 1, COMMANDS["mark"], bytes([number]) * (number * 20)) for number in range(5)]


@given(st.lists(st.binary(max_size=300), max_size=8))
def test_random_bytes_change_nothing_and_never_raise(pieces):
    desk = Desk()
    for piece in pieces:
        desk.commands.receive(piece)
    assert desk.changes == []
    desk.commands.receive(b"\x00")
    assert desk.send(1, "mark", b"still there")[1] == "done"


@given(st.data())
def test_a_command_with_one_changed_bit_or_byte_is_never_carried_out(data):
    desk = Desk()
    whole = bytearray(data.draw(st.sampled_from(GOOD)))
    at = data.draw(st.integers(1, len(whole) - 2))
    whole[at] ^= data.draw(st.integers(1, 255))
    desk.commands.receive(bytes(whole) + b"\x00")
    assert desk.changes == []


@given(st.lists(st.integers(0, 4), min_size=1, max_size=30))
def test_replays_in_any_order_carry_out_each_command_at_most_once(order):
    desk = Desk()
    for index in order:
        desk.commands.receive(GOOD[index])
    assert len(desk.changes) == len(set(desk.changes))
    carried_out = [GOOD.index(frame(change[0] + 1 if change else 1, COMMANDS["mark"], change)) for change in desk.changes]
    assert carried_out == sorted(carried_out), "and never an older one after a newer one"
    assert len(desk.replies) == len(order)


@given(st.binary(min_size=1, max_size=240))
def test_any_payload_in_a_good_frame_never_raises(payload):
    desk = Desk()
    desk.commands.receive(framing.encode(payload))
    for name, reply in desk.replies:
        codec.pack(name, {**reply, "tick": 0, "time_ms": 0})
