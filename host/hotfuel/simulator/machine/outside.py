"""The line to the host that runs the simulation: blocks of samples, faults, hands on the pins. It also limits how far the clock may run.

Host to board: kind (u8), length (u32), content. Board to host: kind (u8), the board's time (u64, us).
"""

import json
import struct

from . import buses, pins, timers
from .clock import NEVER, Alarm, Reset, clock
from .world import IGNITION, PULSES, world

CONFIGURATION, BLOCK, CHANGE, END = 1, 2, 3, 4
TAKEN, STOPPED = 1, 2

HEAD = "<BI"
BLOCK_HEAD = "<QIH"  # start and step in us of the host's time, number of samples
ANSWER = "<BQ"


class Hands(Alarm):
    """Pins that are switched from outside at known times."""

    def __init__(self):
        self._moves = []  # (time, pin number, level or None), in order of time

    def move(self, at_us, number, level):
        self._moves.append((at_us, number, level))
        self._moves.sort(key=lambda move: move[0])
        self._arm()

    def fire(self):
        _, number, level = self._moves.pop(0)
        pins.lines[number].hold(level)
        self._arm()

    def _arm(self):
        self.due_us = self._moves[0][0] if self._moves else NEVER
        clock.add(self)


class Planned(Alarm):
    """A fault of a chip from `begin_us` to `end_us` (None: for good) of the host's time; with `every_us`, only in the first `on_us` of each."""

    def __init__(self, model, fault, times_us):
        self._model = model
        self._fault = fault
        begin_us, end_us, self._on_us, self._every_us = times_us
        self._begin_us = begin_us - world.boot_us
        self._end_us = NEVER if end_us is None else end_us - world.boot_us
        self.due_us = max(self._begin_us, clock.now_us)
        clock.add(self)

    def fire(self):
        at_us = self.due_us
        if at_us >= self._end_us:
            on, next_us = False, NEVER
        elif self._every_us is None:
            on, next_us = True, self._end_us
        else:
            since_us = (at_us - self._begin_us) % self._every_us
            on = since_us < self._on_us
            next_us = at_us - since_us + (self._on_us if on else self._every_us)
        self._model.set_fault(self._fault, on)
        self.due_us = min(next_us, self._end_us) if next_us != NEVER else NEVER


class Pulses(Alarm):
    """Rising edges of the engine's pulses, for a program that counts them by interrupt; evenly spread over a block."""

    def __init__(self, number):
        self._line = pins.lines[number]
        self._step_us = NEVER

    def take(self, pulses, begin_us, length_us):
        if self._line.handler is None or pulses <= 0:
            clock.remove(self)
            return
        self._step_us = length_us // pulses
        self._left = pulses
        self.due_us = max(begin_us, clock.now_us) + self._step_us // 2
        clock.add(self)

    def fire(self):
        self._line.edge(0, 1)
        self._left -= 1
        self.due_us = self.due_us + self._step_us if self._left else NEVER


class Outside:
    def __init__(self, reading, writing):
        self._reading = reading
        self._writing = writing
        self._models = []
        self._hands = Hands()
        self._ignition_pin = None
        self._ignition = None
        self._pulses = None
        self._pulses_before = None
        self.flash = None

    def configuration(self):
        kind, content = self._message()
        if kind != CONFIGURATION:
            raise ValueError("the first message is of kind %d, expected %d" % (kind, CONFIGURATION))
        return json.loads(content)

    def attach(self, models, flash, ignition_pin=None, pulse_pin=None):
        self._models = models
        self.flash = flash
        self._ignition_pin = ignition_pin
        self._pulses = None if pulse_pin is None else Pulses(pulse_pin)
        clock.ask_for_more = self.ask_for_more
        clock.grant(0)

    def ask_for_more(self, _clock):
        """Wait for the next block; anything else that arrives is handled at once."""
        before_us = clock.granted_us
        while clock.granted_us == before_us:
            kind, content = self._message()
            if kind == BLOCK:
                self._take(content)
            elif kind == CHANGE:
                self.change(json.loads(content))
            elif kind == END:
                raise Reset(timers.ENDED)

    def change(self, what):
        """{"chip": index, "fault": name, "on": value, "times_us": optional, see Planned} | {"pin": number, "level": 0, 1 or null, "for_ms": optional} |
        {"bus": kind, "number": n, "stuck": level or null} | {"flash": {"erase_ms": or "stop_after": changes from now}} | {"power": "cut"} |
        {"uart": number, "text": what comes in}"""
        if what.get("times_us"):
            Planned(self._models[what["chip"]], what["fault"], what["times_us"])
        elif "chip" in what:
            self._models[what["chip"]].set_fault(what["fault"], what["on"])
        elif "pin" in what:
            self._hands.move(clock.now_us, what["pin"], what["level"])
            if what.get("for_ms"):
                self._hands.move(clock.now_us + what["for_ms"] * 1000, what["pin"], None)
        elif "bus" in what:
            key = (what["bus"], what["number"])
            if what["stuck"] is None:
                buses.stuck.pop(key, None)
            else:
                buses.stuck[key] = what["stuck"]
        elif "uart" in what:
            buses.UART.received[what["uart"]] += what["text"].encode()
        elif "power" in what:
            raise Reset(timers.POWER_LOST)
        elif "flash" in what and self.flash is not None:
            if "erase_ms" in what["flash"]:
                self.flash.erase_ms = what["flash"]["erase_ms"]
            if "stop_after" in what["flash"]:
                self.flash.stop_after = self.flash.changes + what["flash"]["stop_after"]

    def stopped(self):
        self._answer(STOPPED)

    def _take(self, content):
        start_us, step_us, count = struct.unpack_from(BLOCK_HEAD, content, 0)
        world.take(start_us, step_us, count, content[struct.calcsize(BLOCK_HEAD) :])
        begin_us = start_us - world.boot_us
        length_us = step_us * count
        if self._ignition_pin is not None:
            for sample in range(count):
                level = world.input(IGNITION, begin_us + sample * step_us)
                if level != self._ignition:
                    self._ignition = level
                    self._hands.move(max(begin_us + sample * step_us, clock.now_us), self._ignition_pin, level)
        if self._pulses is not None:
            pulses = world.input(PULSES, begin_us + length_us - 1)
            if self._pulses_before is not None:
                self._pulses.take(pulses - self._pulses_before, begin_us, length_us)
            self._pulses_before = pulses
        clock.grant(begin_us + length_us)
        self._answer(TAKEN)

    def _message(self):
        head = self._read(struct.calcsize(HEAD))
        kind, length = struct.unpack(HEAD, head)
        return kind, self._read(length)

    def _read(self, length):
        content = self._reading.read(length) if length else b""
        if content is None or len(content) < length:
            raise SystemExit(timers.ENDED)  # the host is gone
        return content

    def _answer(self, kind):
        self._writing.write(struct.pack(ANSWER, kind, clock.now_us))
