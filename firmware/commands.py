"""Commands from the host: frames in, one reply each. Anything but a whole, new and valid command changes nothing.

A command that changes something carries a sequence number newer than the last one's (modulo 2^16, half the range counts as newer); the last
one repeated gets the same reply again, an older one "stale". The first after boot sets the count. Commands that only ask are always answered.
"""

import sys

from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.messages import COMMANDS, OUTCOMES, TYPES

ANSWER_MAX = 224
_SEQUENCE_AT = 9  # in a command's payload, after the header


class Refused(Exception):
    """A handler's answer that is not "done": (outcome name, reason in words)."""


class Commands:
    """register() adds a command's handler; receive() takes the host's bytes."""

    def __init__(self, emit):
        self.last_sequence = None
        self._emit = emit
        self._handlers = {}
        self._reader = FrameReader()
        self._last_payload = b""
        self._last_reply = None

    def register(self, name, handler, asks_only=False):
        """handler(argument bytes) -> answer bytes (224 at most); raises Refused. asks_only: it changes nothing."""
        self._handlers[COMMANDS[name]] = (handler, asks_only)

    def receive(self, data):
        """Take bytes in blocks of any size."""
        for payload in self._reader.feed(data):
            if payload[0] == TYPES["command"]:
                self._command(payload)

    def _command(self, payload):
        try:
            _, command = codec.unpack(payload)
        except codec.WireError as error:
            if len(payload) >= _SEQUENCE_AT + 2:
                sequence = payload[_SEQUENCE_AT] | payload[_SEQUENCE_AT + 1] << 8
                self._reply(sequence, 0, "bad_argument", str(error).encode())
            return
        sequence, code = command["sequence"], command["code"]
        if code not in self._handlers:
            known = code in COMMANDS.values()
            reason = b"this board lacks the part for it" if known else ("no command %d" % code).encode()
            self._reply(sequence, code, "not_fitted" if known else "unknown_command", reason)
            return
        handler, asks_only = self._handlers[code]
        if not asks_only:
            body = payload[_SEQUENCE_AT:]
            if body == self._last_payload:
                self._emit("reply", self._last_reply)
                return
            if self.last_sequence is not None and not 0 < (sequence - self.last_sequence) & 0xFFFF < 0x8000:
                reason = "sequence %d is not newer than the last, %d" % (sequence, self.last_sequence)
                self._reply(sequence, code, "stale", reason.encode())
                return
            self.last_sequence = sequence
        outcome, answer = self._carry_out(handler, command["argument"])
        reply = self._reply(sequence, code, outcome, answer)
        if not asks_only:
            self._last_payload = body
            self._last_reply = reply

    def _carry_out(self, handler, argument):
        try:
            return "done", handler(argument)
        except Refused as refused:
            return refused.args[0], refused.args[1].encode()
        except Exception as error:
            return "failed", ("%s: %s" % (type(error).__name__, error)).encode()

    def _reply(self, sequence, code, outcome, answer):
        reply = {"sequence": sequence, "code": code, "outcome": OUTCOMES[outcome], "answer": answer[:ANSWER_MAX]}
        self._emit("reply", reply)
        return reply


def text_of(argument):
    """An argument's text. Raises Refused."""
    try:
        return bytes(argument).decode()
    except UnicodeError:
        raise Refused("bad_argument", "the argument is not UTF-8 text")


def reason(error):
    """An exception in one line, with the source line that raised it."""
    import io

    text = "%s: %s" % (type(error).__name__, error)
    written = io.StringIO()
    sys.print_exception(error, written)
    places = [line.strip() for line in written.getvalue().split("\n") if line.startswith("  File")]
    return text + "; " + places[-1] if places else text
