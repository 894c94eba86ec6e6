"""The emulated board: the unmodified firmware under the official MicroPython image, on an emulated RP2040 with chip models at its pins.

board.py the board and its time; flash.py its file system and power cuts; usb.py the host's side of USB; buses.py SPI and I2C;
chips.py the chips on them and what they measure; talk.py the host's own code in the board's time; lamp.py the lamp's pattern;
ready.py installed boards; rig.py what trials share; trials*.py the trials. Needs the extra `emulator` and a MicroPython image
(see DEVELOPERS.md).
"""

CANNOT = (
    "floating analogue inputs: a converter reads the number it is given, whatever the pull-down",
    "light sleep: the clocks it stops show in no current; deep sleep after key-off is left out",
    "flash that wears out, or takes longer than typical: here every erase takes 45 ms",
    "the second core, and heat, supply, noise and edges on the wires",
    "i2c.scan(): it returns nothing, because the image drives the pins itself",
)
