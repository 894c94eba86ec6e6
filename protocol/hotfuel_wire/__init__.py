"""The wire between board and host, declared once. Runs on MicroPython and CPython: struct and binascii only."""

PROTOCOL_VERSION = 2


def const(number: int) -> int:
    """The number. MicroPython's compiler looks for calls of this name and puts the number where the name stands; a name that begins with "_" then takes
    no memory on the board, nor room in its bytecode."""
    return number
