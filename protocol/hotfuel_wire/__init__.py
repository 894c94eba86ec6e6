"""The wire between board and host, declared once. Runs on MicroPython and CPython: struct and binascii only."""

PROTOCOL_VERSION = 2
