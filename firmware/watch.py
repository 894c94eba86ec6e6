"""Limits the events about a chip that is lost and found repeatedly (a loose plug): its first changes at once, then a count once a minute."""

from hotfuel_wire import const
from hotfuel_wire.messages import NO_ANSWER

MINUTE_MS = const(60000)
AT_ONCE = 2  # changes of a channel reported at once: lost and found
_WORDS = {0: "it answers", NO_ANSWER: "it does not answer"}


class Watch:
    """States of the channels' chips: 0, or the reason in `hot`. `tell`: called like emit_event."""

    def __init__(self, channels, tell):
        self.states = [0] * channels
        self._tell = tell
        self._told = [0] * channels  # the last state reported
        self._losses = [0] * channels  # not reported yet
        self._changes = [0] * channels  # reported in the minute that began at ...
        self._since_ms = [None] * channels

    def see(self, channel, state, now_ms):
        """A tick's state of a channel."""
        before = self.states[channel]
        if state == before:
            return
        self.states[channel] = state
        if self._since_ms[channel] is None:
            self._since_ms[channel] = now_ms
            self._changes[channel] = 0
        self._changes[channel] += 1
        if self._changes[channel] > AT_ONCE:
            if state:
                self._losses[channel] += 1
            return
        self._told[channel] = state
        if before == NO_ANSWER:
            self._tell("chip_found", channel)
        if state:
            self._tell("chip_lost" if state == NO_ANSWER else "configuration_lost", channel)

    def step(self, now_ms):
        """Reports a minute's further changes; call it regularly."""
        for channel in range(len(self.states)):
            since_ms = self._since_ms[channel]
            if since_ms is None or (now_ms - since_ms) & 0xFFFFFFFF < MINUTE_MS:
                continue
            state, losses = self.states[channel], self._losses[channel]
            if not losses and state == self._told[channel]:
                self._since_ms[channel] = None  # a minute without a change: the next one is reported at once again
                continue
            self._since_ms[channel] = now_ms
            self._losses[channel] = 0
            self._changes[channel] = AT_ONCE
            self._told[channel] = state
            self._tell("chip_unsteady", channel, losses, _WORDS.get(state, "it lost its settings"))
