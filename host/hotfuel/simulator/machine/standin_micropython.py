"""MicroPython's `micropython` module as the rp2 port has it; the unix port lacks a function or two, CPython all of it."""

from .clock import clock

try:
    from micropython import const, heap_lock, heap_unlock, mem_info, opt_level, qstr_info, schedule, stack_use
except ImportError:

    def const(value):
        return value

    def native(function):
        return function

    viper = asm_thumb = native

    def heap_lock():
        pass

    def heap_unlock():
        return 0

    def opt_level(level=0):
        return 0

    def mem_info(verbose=0):
        pass

    qstr_info = mem_info

    def stack_use():
        return 0

    def schedule(function, argument):
        if not clock.schedule(function, argument):
            raise RuntimeError("schedule queue full")


def alloc_emergency_exception_buf(size):
    pass


def kbd_intr(char):
    """The simulated port never takes a byte for Ctrl-C."""
