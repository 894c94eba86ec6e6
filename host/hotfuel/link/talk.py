"""Commands to the board: one command, one reply, while live frames continue."""

import contextlib
import time
from collections.abc import Callable, Iterator
from typing import Any

from hotfuel_wire import codec
from hotfuel_wire.framing import FrameReader
from hotfuel_wire.messages import COMMANDS, OUTCOMES

from hotfuel.errors import LinkError
from hotfuel.link.port import Port
from hotfuel.link.receive import HELLO_S, command, what_was_seen

REPLY_S = 2.0
TRIES = 3
_OUTCOME_NAMES = {number: name for name, number in OUTCOMES.items()}


class Refusal(LinkError):
    """The board refused a command. `outcome` is its name in messages.OUTCOMES."""

    def __init__(self, text: str, outcome: str) -> None:
        super().__init__(text)
        self.outcome = outcome


class Talk:
    """A conversation with the board on an open port. `others` gets every other message (name, values), e.g. live readings.

    Raises LinkError if the port goes away or nothing answers, Refusal if the board refuses.
    """

    def __init__(self, port: Port, others: Callable[[str, dict[str, Any]], None] = lambda name, values: None) -> None:
        self._port = port
        self._others = others
        self._reader = FrameReader()
        self._sequence = 0
        self._greeted = False

    def ask(self, name: str, argument: bytes = b"", timeout_s: float = REPLY_S) -> bytes:
        """The answer to a command. Without a reply it is sent again with the same sequence number, so the board never carries it out twice."""
        if not self._greeted:
            self._greet()
        self._sequence = (self._sequence + 1) & 0xFFFF
        for _ in range(TRIES):
            reply = self._once(name, argument, timeout_s)
            if reply is not None:
                return self._answer(name, reply)
        raise LinkError(
            f'{self._port.url}: the board did not answer "{name}" within {TRIES * timeout_s:.0f} s; unplug it, plug it in and try again'
        )

    def send(self, name: str, argument: bytes) -> int:
        """Send a read-only command without waiting for the reply; returns its sequence number."""
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._port.write(command(name, argument, self._sequence))
        return self._sequence

    def messages(self, timeout_s: float) -> Iterator[tuple[str, dict[str, Any]]]:
        """Every message that arrives within one read of at most timeout_s."""
        for payload in self._reader.feed(self._port.read(timeout_s)):
            with contextlib.suppress(codec.WireError):
                yield codec.unpack(payload)

    def _greet(self) -> None:
        """Learns the board's last sequence number, so that ours is newer."""
        for _ in range(TRIES):
            reply = self._once("version", b"", HELLO_S / TRIES)
            if reply is not None:
                last = fields(reply["answer"]).get("last_sequence", "none")
                self._sequence = int(last) if last.isdigit() else 0
                self._greeted = True
                return
        raise LinkError(f"{self._port.url}: {what_was_seen(b'', HELLO_S)}")

    def _once(self, name: str, argument: bytes, timeout_s: float) -> dict[str, Any] | None:
        self._port.write(command(name, argument, self._sequence))
        end = time.monotonic() + timeout_s
        while (left := end - time.monotonic()) > 0:
            found = None
            for kind, values in self.messages(left):
                if kind == "reply" and values["sequence"] == self._sequence and values["code"] == COMMANDS[name]:
                    found = values
                else:
                    self._others(kind, values)
            if found is not None:
                return found
        return None

    def _answer(self, name: str, reply: dict[str, Any]) -> bytes:
        if reply["outcome"] == OUTCOMES["done"]:
            return bytes(reply["answer"])
        outcome = _OUTCOME_NAMES.get(reply["outcome"], str(reply["outcome"]))
        why = bytes(reply["answer"]).decode(errors="replace") or outcome.replace("_", " ")
        raise Refusal(f"the board refused: {why}", outcome)


def fields(answer: bytes) -> dict[str, str]:
    """The name=value lines of an answer as a dict."""
    return dict(line.partition("=")[::2] for line in answer.decode(errors="replace").splitlines() if "=" in line)
