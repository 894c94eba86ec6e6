"""The simulated car and the simulated board: made data, for trying everything without parts. Imported by the command line and by tests only.

Kept free of imports: the board's process, which may be MicroPython, imports this package too.
"""
