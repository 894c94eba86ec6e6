"""The emulated board: the unmodified firmware under the official MicroPython image, on an emulated RP2040 with chip models at its pins.

board.py the board and its time; flash.py its file system and power cuts; usb.py the host's side of USB; buses.py SPI and I2C;
chips.py the chips on them and what they measure; talk.py the host's own code in the board's time; lamp.py the lamp's pattern;
ready.py installed boards; rig.py what trials share; trials*.py the trials. Needs the extra `emulator` and a MicroPython image
(see DEVELOPERS.md).
"""

CANNOT = (
    "analogue inputs float nowhere: a converter reads the number it is given, and no pull-down moves it",
    "light sleep: its clocks stop in no way that would show a current; deep sleep after key-off is left out",
    "flash that wears, or takes longer than typical: here every erase takes 45 ms",
    "the second core, and heat, supply, noise and edges on the wires",
    "i2c.scan(): it comes back empty, because the image asks by moving the pins itself",
)
