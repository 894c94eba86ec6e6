"""Runs under MicroPython and CPython alike: drives the stand-in as a firmware does and prints what it saw, one line per fact."""

import sys

sys.path.insert(0, sys.argv[1])
import simulator.machine.boot as boot
from simulator.machine.clock import clock
from simulator.machine.world import world

boot.power_on(2)
boot.install()
amplifier = boot.wire("spi", 0, 17, "MAX31856", 0)
boot.wire("i2c", 0, 0x60, "MCP9601", 1)
boot.wire("i2c", 0, 0x76, "BMP390")
boot.wire("i2c", 0, 0x77, "BMP280")
world.resting[:] = [1234567, -765432, 25600, -10240, 30000, 20000, 98765, 20480, 777, 1]

import machine
import micropython
import select
import time
from machine import I2C, SPI, Pin, Timer

spi = SPI(0, baudrate=1000000, polarity=0, phase=1, sck=Pin(18), mosi=Pin(19), miso=Pin(16))
select_pin = Pin(17, Pin.OUT, value=1)
i2c = I2C(0, scl=Pin(5), sda=Pin(4), freq=100000)
out = bytearray(17)
into = bytearray(17)


def burst():
    select_pin(0)
    spi.write_readinto(out, into)
    select_pin(1)


select_pin(0)
spi.write(b"\x80\x90\x0c")
select_pin(1)
time.sleep_ms(400)
burst()
print("burst", bytes(into))

ticks = []
timer = Timer(period=30, callback=lambda _: ticks.append(clock.now_us))
until = time.ticks_add(time.ticks_ms(), 200)
while time.ticks_diff(until, time.ticks_ms()) > 0:
    machine.idle()
timer.deinit()
print("timer", ticks)

i2c.writeto_mem(0x76, 0x1B, b"\x33")
i2c.writeto_mem(0x77, 0xF4, b"\x57")
print("bmp390", bytes(i2c.readfrom_mem(0x76, 0x04, 6)))
print("bmp280", bytes(i2c.readfrom_mem(0x77, 0xF7, 6)))
print("mcp9601", bytes(i2c.readfrom_mem(0x60, 0x03, 3)), bytes(i2c.readfrom_mem(0x60, 0x00, 2)))
try:
    i2c.readfrom_mem(0x61, 0, 1)
except OSError as error:
    print("nobody", error.args[0])

amplifier.set_fault("noise", 5000)
codes = []
for _ in range(5):
    time.sleep_ms(100)
    burst()
    codes.append(int.from_bytes(into[13:16], "big"))
print("noise", codes)

poller = select.poll()
before = clock.now_us
print("poll", poller.poll(50), clock.now_us - before)

# A program that must not allocate can still use the buses and the clock.
micropython.heap_lock()
burst()
time.ticks_ms()
time.ticks_us()
micropython.heap_unlock()
print("unlocked", bytes(into[1:3]))
print("date", time.gmtime(1772323199), machine.unique_id(), machine.reset_cause(), machine.freq())
print("lost", clock.callbacks_lost, clock.now_us)
