"""MCP9600 and MCP9601, thermocouple EMF to temperature converters, from Microchip's datasheets DS20005426 and DS20006173.

The MCP9601 adds detection of open and shorted inputs (status bits 4 and 5). From memory: those bit numbers, the 2 uV per code, the conversion times.
"""

from .i2c import I2CDevice
from .thermocouple import Terminals, type_k_1024, type_k_nv

T_HOT, T_DELTA, T_COLD, RAW_ADC, STATUS, SENSOR, DEVICE, DEVICE_ID = 0x00, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x20
BYTES = {T_HOT: 2, T_DELTA: 2, T_COLD: 2, RAW_ADC: 3, DEVICE_ID: 2}

BURST_COMPLETE, HOT_UPDATED, SHORT, OPEN_OR_RANGE = 0x80, 0x40, 0x20, 0x10

# By the ADC resolution field: 18, 16, 14, 12 bit
CONVERSION_US = (320000, 80000, 20000, 5000)
STEP_NV = (2000, 8000, 32000, 128000)
BITS = (18, 16, 14, 12)
TYPE_K_LEAST_NV, TYPE_K_MOST_NV = -6458000, 54886000  # NIST table, type K: -270 and 1372 degC


class MCP9601(I2CDevice, Terminals):
    """An MCP9601 on I2C: registers, conversions, and the finding of open and short circuits."""

    highest_hz = 100000
    id_and_revision = 0x4110
    detects_open = True

    def __init__(self, world, channel, clock):
        Terminals.__init__(self, world, channel, clock)
        I2CDevice.__init__(self)
        self.power_on()

    answers = Terminals.answers
    has = Terminals.has

    def set_fault(self, name, on=True):
        if name == "stretch":
            self.stretch_us = int(on)
        else:
            Terminals.set_fault(self, name, on)

    def power_on(self):
        self.registers = {
            T_HOT: 0,
            T_DELTA: 0,
            T_COLD: 0,
            RAW_ADC: 0,
            STATUS: 0,
            SENSOR: 0,
            DEVICE: 0,
            DEVICE_ID: self.id_and_revision,
        }
        self._filtered_1024 = None
        self._left = 0  # conversions left of a burst
        self._begin()

    def write(self, data):
        """The pointer, then at most one byte for the configuration registers."""
        self.catch_up()
        if not len(data):
            return
        self.pointer = data[0]
        for byte in memoryview(data)[1:]:
            if self.pointer == STATUS:
                self.registers[STATUS] &= byte | 0x3F  # burst complete and hot updated are cleared by writing 0
            elif self.pointer == SENSOR:
                self.registers[SENSOR] = byte
                self._filtered_1024 = None
            elif self.pointer == DEVICE:
                self.registers[DEVICE] = byte
                self._left = 1 << ((byte >> 2) & 7) if byte & 3 == 2 else 0
                self._begin()

    def read_into(self, into):
        self.catch_up()
        length = BYTES.get(self.pointer, 1)
        value = self.registers.get(self.pointer, 0)
        for at in range(len(into)):
            into[at] = (value >> (8 * (length - 1 - at))) & 0xFF if at < length else 0xFF

    def _begin(self):
        self._due_us = self.clock.now_us + CONVERSION_US[(self.registers[DEVICE] >> 5) & 3]

    def catch_up(self):
        now_us = self.clock.now_us
        device = self.registers[DEVICE]
        length_us = CONVERSION_US[(device >> 5) & 3]
        while self._due_us <= now_us:
            behind = (now_us - self._due_us) // length_us
            if not self._left and behind > 64:
                self._due_us += (behind - 64) * length_us
            if device & 3 != 1 and not self.has("frozen"):
                self._convert(self._due_us - length_us // 2)
            self._due_us += length_us
            if self._left:
                self._left -= 1
                if not self._left:
                    self.registers[STATUS] |= BURST_COMPLETE
                    self.registers[DEVICE] = device = device & ~3 | 1

    def _convert(self, at_us):
        registers = self.registers
        size = (registers[DEVICE] >> 5) & 3
        half = 1 << (BITS[size] - 1)
        emf_nv = self.emf_nv(at_us)
        code = min(max((2 * emf_nv + STEP_NV[size]) // (2 * STEP_NV[size]), -half), half - 1)
        cold_16 = self.cold_1024(at_us) // 64
        if registers[DEVICE] & 0x80:
            cold_16 = cold_16 // 4 * 4
        hot_1024 = type_k_1024(code * STEP_NV[size] + type_k_nv(cold_16 * 64))
        smooth = registers[SENSOR] & 7
        if smooth and self._filtered_1024 is not None:
            hot_1024 = self._filtered_1024 + (hot_1024 - self._filtered_1024) * 2 // ((1 << smooth) + 1)
        self._filtered_1024 = hot_1024
        registers[RAW_ADC] = code & 0xFFFFFF
        registers[T_COLD] = cold_16 & 0xFFFF
        registers[T_HOT] = hot_1024 // 64 & 0xFFFF
        registers[T_DELTA] = (hot_1024 // 64 - cold_16) & 0xFFFF
        status = registers[STATUS] & ~(SHORT | OPEN_OR_RANGE) | HOT_UPDATED
        if not TYPE_K_LEAST_NV <= emf_nv <= TYPE_K_MOST_NV:
            status |= OPEN_OR_RANGE
        if self.detects_open:
            if self.has("open_circuit"):
                status |= OPEN_OR_RANGE
            if self.has("shorted") or self.has("ground_short") or self.has("supply_short"):
                status |= SHORT
        registers[STATUS] = status


class MCP9600(MCP9601):
    """The older MCP9600, which detects no open or short circuit."""

    id_and_revision = 0x4010
    detects_open = False
