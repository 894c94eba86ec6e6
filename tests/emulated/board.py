"""The emulated board: power, time, pins, resets, and copies of a running board.

Everything runs in the caller's thread and nothing runs between calls, so a trial gives the same bytes every time.
"""

import dataclasses
import os
import pickle
import random
import traceback
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from hotfuel.simulator import wiring
from hotfuel.simulator.firmware_sources import firmware_folder
from rp2040py.boards import BOARDS, resolve_layout
from rp2040py.device.base_device import BaseDevice
from rp2040py.gpio_pin import GPIOPinState
from rp2040py.memory_map import FLASH_START_ADDRESS

from emulated.buses import I2cBus, SpiBus
from emulated.chips import Fitted, wire
from emulated.flash import Flash
from emulated.usb import UsbHost

CYCLE_NS = 8  # of 125 MHz
READY_S = 5.0
ADC_FULL = 4095


class EmulatedBoard:
    """A Pico with its circuit. `files`: the initial contents of its file system (None: blank flash). It is off at first; `power_on()` starts it.

    `lamp`: (us, lit) at every change of the lamp's pin. `resets`: us of every reset by the board itself.
    """

    def __init__(self, image: Path, files: Mapping[str, bytes] | None, fitted: Fitted | None = None) -> None:
        self.fitted = fitted or Fitted()
        self._image = image
        self.wiring = wiring.read(firmware_folder())
        self._held: dict[str, bool] = {}
        self._analogue: dict[int, int] = {}
        self._make()
        if files is None:
            self.flash.erase()
        else:
            self.flash.put(files)

    def _make(self) -> None:
        spec = BOARDS["pico"]
        self.device = BaseDevice(board=dataclasses.replace(spec, image=str(self._image)))
        self.mcu, self._simulator = self.device.mcu, self.device.simulator
        self._clock = self.mcu.clock
        self._alarm = self._clock.create_alarm(self._stop)
        self._alarms: list[Any] = []
        self.usb = UsbHost(self.device)
        self.flash = Flash(self.mcu, resolve_layout(spec, "micropython"), self._stop)
        gpio = self.wiring.gpio
        self.spi = SpiBus(self.mcu, self.wiring.spi, gpio["spi_miso"])
        self.i2c = I2cBus(self.mcu, self.wiring.i2c)
        self.amplifiers, self.converter = wire(self.fitted, self.wiring, self.mcu, self.spi, self.i2c)
        for uart in self.mcu.uart:
            _mend(uart)
        self.lamp: list[tuple[int, bool]] = []
        self.resets: list[int] = []
        self.mcu.gpio[gpio["lamp"]].add_listener(self._lamp_changed)
        by_board = self.mcu.watchdog.on_watchdog_trigger

        def reset() -> None:
            self.resets.append(self.now_us)
            by_board()

        self.mcu.watchdog.on_watchdog_trigger = reset
        for name, level in self._held.items():
            self.hold(name, level)
        for number, code in self._analogue.items():
            self.mcu.adc.channel_values[number] = code

    # Power

    def power_on(self, *, connected: bool = True, seed: int = 1) -> "EmulatedBoard":
        """Start; with `connected` run until the host sees the board on USB. RAM holds random bytes."""
        self.mcu.sram[:] = random.Random(seed).randbytes(len(self.mcu.sram))
        self.mcu.core.pc = FLASH_START_ADDRESS
        if connected:
            self.until(lambda: self.usb.connected, READY_S)
        return self

    def power_cut(self) -> "EmulatedBoard":
        """Cut the power now: everything but the flash is lost, and the board is off."""
        image = self.flash.image
        self._make()
        self.flash.image = image
        return self

    # Time

    @property
    def now_us(self) -> int:
        """us since power-on."""
        return int(self._clock.nanos // 1000)

    @property
    def now_s(self) -> float:
        """s since power-on."""
        return self._clock.nanos / 1e9

    def _stop(self) -> None:
        self._simulator.stopped = True

    def step(self) -> None:
        """Run for a few milliseconds' worth of real time."""
        self._simulator.stopped = False
        self._simulator._execute_batch()

    def run(self, seconds: float) -> "EmulatedBoard":
        """Run for so many seconds of the board's time, or until its power is cut inside a flash write."""
        self._alarm.schedule(seconds * 1e9)
        self._simulator.stopped = False
        while not self._simulator.stopped:
            self._simulator._execute_batch()
        self._alarm.cancel()
        return self

    def until(self, condition: Callable[[], bool], most_s: float, step_s: float = 0.002) -> float:
        """Run until `condition()` holds, checked every `step_s`; returns the board's time. Raises TimeoutError after `most_s`."""
        end = self.now_s + most_s
        while not condition():
            if self.now_s >= end:
                raise TimeoutError(
                    f"condition not reached after {most_s:g} s of the board's time; last sent: {bytes(self.usb.received[-200:])!r}"
                )
            self.run(step_s)
            self.usb.feed()
        return self.now_s

    def at(self, seconds: float, action: Callable[[], None]) -> None:
        """Call `action` so many seconds from now, wherever the firmware is then."""
        alarm = self._clock.create_alarm(action)
        alarm.schedule(seconds * 1e9)
        self._alarms.append(alarm)  # the clock keeps no reference to an alarm that is unlinked

    def busy(self, seconds: float) -> float:
        """Run, and return the share of the processor's time not spent waiting for an interrupt."""
        cycles, begun_ns = self.mcu.core.cycles, self._clock.nanos
        self.run(seconds)
        return (self.mcu.core.cycles - cycles) * CYCLE_NS / (self._clock.nanos - begun_ns)

    # Pins

    def hold(self, name: str, level: bool | None) -> None:
        """Drive a pin to a level from outside; None releases it."""
        pin = self.mcu.gpio[self.wiring.gpio[name]]
        if level is None:
            self._held.pop(name, None)
            pin.release_input()
        else:
            self._held[name] = level
            pin.set_input_value(level)

    def slow_button(self, charge_us: float) -> None:
        """Model the button's lead as a capacitor: the pin is low for so long after the pull-up came on. Nobody presses it."""
        pin = self.mcu.gpio[self.wiring.gpio["button"]]
        self.hold("button", False)

        def charged() -> None:
            self.hold("button", None)

        def changed(new: GPIOPinState, _old: GPIOPinState) -> None:
            if new == GPIOPinState.INPUT_PULL_UP:
                self.at(charge_us / 1e6, charged)

        pin.add_listener(changed)

    def feed_analogue(self, name: str, share: float) -> None:
        """A voltage at "battery" or "fuel_pressure", as a share of the converter's reference."""
        number = self.wiring.gpio[name] - 26
        self._analogue[number] = self.mcu.adc.channel_values[number] = round(share * ADC_FULL)

    def _lamp_changed(self, new: GPIOPinState, _old: GPIOPinState) -> None:
        if new in (GPIOPinState.HIGH, GPIOPinState.LOW):
            self.lamp.append((self.now_us, new == GPIOPinState.HIGH))


def _mend(uart: Any) -> None:
    """A UART that raises its transmit interrupt only when it has sent (RP2040 datasheet 4.2.6.3): the emulator's raises it
    without end, and nothing else runs."""
    uart.check_interrupts = lambda: uart.rp2040.set_interrupt(uart.irq, bool(uart._interrupt_status & uart._interrupt_mask))


def in_a_copy(work: Callable[[], Any]) -> Any:
    """What `work()` returns in a child process: whatever it does to a running board happens to the child's copy only.

    Raises RuntimeError with the child's traceback when it failed.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            try:
                answer = (True, work())
            except BaseException:
                answer = (False, traceback.format_exc())
            with os.fdopen(writing, "wb") as pipe:
                pipe.write(pickle.dumps(answer))
        finally:
            os._exit(0)  # whatever happens, the copy must not go on with its parent's work
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        content = pipe.read()
    os.waitpid(child, 0)
    if not content:
        raise RuntimeError("the trial's process ended without an answer")
    worked, answer = pickle.loads(content)
    if not worked:
        raise RuntimeError(answer)
    return answer
