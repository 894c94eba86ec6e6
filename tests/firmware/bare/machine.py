"""The minimum that the firmware can be loaded on: every pin reads 0, nothing answers on I2C, SPI reads ones. For interpreters without the simulator."""

PWRON_RESET, WDT_RESET = 1, 3


class Pin:
    IN, OUT, PULL_UP, PULL_DOWN, IRQ_RISING = 0, 1, 1, 2, 8

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self._level = 1 if pull == Pin.PULL_UP else 0

    def __call__(self, level=None):
        return self._level

    def irq(self, handler=None, trigger=0):
        pass


class SPI:
    def __init__(self, number, **how):
        pass

    def init(self, **how):
        pass

    def write_readinto(self, out, into):
        for index in range(len(into)):
            into[index] = 0xFF


class I2C:
    def __init__(self, number, **how):
        pass

    def readfrom_mem(self, address, register, count):
        raise OSError(5)

    writeto = writeto_mem = readfrom_mem_into = readfrom_mem


class ADC:
    def __init__(self, number):
        pass

    def read_u16(self):
        return 0


class UART:
    def __init__(self, number, **how):
        pass

    def any(self):
        return 0


class Timer:
    PERIODIC = 1

    def __init__(self, number):
        pass

    def init(self, mode, period, callback):
        self.callback = callback

    def deinit(self):
        pass


def unique_id():
    return b"bareboard"[:8]


def reset_cause():
    return PWRON_RESET
