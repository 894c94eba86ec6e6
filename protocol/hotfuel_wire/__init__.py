"""The wire between board and host, declared once. Runs on MicroPython and CPython: struct and binascii only."""

PROTOCOL_VERSION = 2


def const(number: int) -> int:
    """Returns `number`. MicroPython's compiler replaces each use of a name assigned from const() by the number; a name that begins with "_" then takes no
    memory and no bytecode on the board."""
    return number
