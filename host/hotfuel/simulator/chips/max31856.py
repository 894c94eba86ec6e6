"""MAX31856, precision thermocouple to digital converter, from its datasheet (Maxim 19-7534): registers, conversion times, voltage mode, faults.

Modelled: automatic and one-shot conversions, averaging, both mains filters, gains 8 and 32 and type K, cold junction with its offset, thresholds,
open-circuit detection. Left out: types other than K (the voltage modes are what this board uses), the FAULT pin.
"""

from .thermocouple import Terminals, type_k_1024, type_k_nv

# Reset values, registers 00h to 0Fh: CR0 CR1 MASK CJHF CJLF LTHFTH LTHFTL LTLFTH LTLFTL CJTO CJTH CJTL LTCBH LTCBM LTCBL SR
RESET_VALUES = b"\x00\x03\xff\x7f\xc0\x7f\xff\x80\x00\x00\x00\x00\x00\x00\x00\x00"
READ_ONLY_FROM = 0x0C  # LTCB and SR; CJTH and CJTL may be written while the internal sensor is off

CMODE, ONE_SHOT, OCFAULT, CJ_OFF, FAULT_MODE, FAULT_CLEAR, HZ_50 = 0x80, 0x40, 0x30, 0x08, 0x04, 0x02, 0x01
SR_CJ_RANGE, SR_TC_RANGE, SR_CJ_HIGH, SR_CJ_LOW, SR_TC_HIGH, SR_TC_LOW, SR_OVUV, SR_OPEN = (
    0x80,
    0x40,
    0x20,
    0x10,
    0x08,
    0x04,
    0x02,
    0x01,
)

# Typical times in us, for the 60 Hz and the 50 Hz filter (Electrical Characteristics and the CR0, CR1 descriptions)
FIRST_US = (143000, 169000)
NEXT_US = (82000, 98000)
FIRST_AVERAGE_US = (33330, 40000)  # for every sample averaged beyond the first
NEXT_AVERAGE_US = (16670, 20000)
OPEN_TEST_US = (0, 13300, 33400, 113400)  # by OCFAULT
OPEN_TEST_EVERY = 16  # conversions, in automatic mode; before every one-shot conversion (the latter from memory)
FASTEST_HZ = 5000000

FULL_SCALE = 131072  # codes: 78.125 mV at gain 8, 19.531 mV at gain 32 (note 7)


class MAX31856(Terminals):
    """A MAX31856 on SPI: registers, conversions and their times."""

    def __init__(self, world, channel, clock):
        Terminals.__init__(self, world, channel, clock)
        self.power_on()

    def power_on(self):
        self.registers = bytearray(RESET_VALUES)
        self.conversions = 0
        self._address = None
        self._trigger = False
        self._due_us = None  # when the running conversion ends
        self._length_us = 0
        self._since_open_test = 0

    # The bus

    def select(self, level):
        """The level of the chip's select pin has changed; 0 selects."""
        if level and self._trigger:
            self._trigger = False
            self._begin_conversion(True)
        self._address = None

    def transfer(self, out, into, mode, baudrate_hz):
        """Bytes in, bytes out, while selected. SPI modes 1 and 3 at 5 MHz at most; what anything else reads is one bit off."""
        self.catch_up()
        if mode not in (1, 3) or baudrate_hz > FASTEST_HZ:
            if into is not None:
                for at in range(len(into)):
                    into[at] = self.registers[at & 15] >> 1
            return
        at = 0
        if self._address is None:
            self._address = out[0] & 0x0F
            self._writing = out[0] & 0x80
            at = 1
            if into is not None:
                into[0] = 0
        count = len(out) - at
        if self._writing:
            while at < len(out):
                self._write(self._address, out[at])
                self._address = (self._address + 1) & 0x0F
                if into is not None:
                    into[at] = 0
                at += 1
            return
        if into is not None and self._address + count <= 16:  # the usual burst, in one go
            into[at:] = self.registers[self._address : self._address + count]
            self._address = (self._address + count) & 0x0F
            return
        while at < len(out):
            if into is not None:
                into[at] = self.registers[self._address]
            self._address = (self._address + 1) & 0x0F
            at += 1

    def _write(self, address, byte):
        if address >= READ_ONLY_FROM or (address >= 0x0A and not self.registers[0] & CJ_OFF):
            return
        if address == 0:
            if byte & FAULT_CLEAR:
                self.registers[15] = 0
                byte &= ~FAULT_CLEAR
            before = self.registers[0]
            self.registers[0] = byte
            if byte & CMODE:
                self.registers[0] = byte & ~ONE_SHOT
                if not before & CMODE:
                    self._since_open_test = 0
                    self._begin_conversion(True)
            else:
                if before & CMODE:
                    self._due_us = None
                if byte & ONE_SHOT:
                    self._trigger = True  # converts when the select pin goes high
        else:
            self.registers[address] = byte

    # Time

    def _begin_conversion(self, first):
        slow = self.registers[0] & HZ_50
        averages = 1 << min((self.registers[1] >> 4) & 7, 4)
        if first:
            length_us = FIRST_US[slow] + (averages - 1) * FIRST_AVERAGE_US[slow]
        else:
            length_us = NEXT_US[slow] + (averages - 1) * NEXT_AVERAGE_US[slow]
        self._testing = self._since_open_test == 0 and self.registers[0] & OCFAULT
        if self._testing:
            length_us += OPEN_TEST_US[(self.registers[0] & OCFAULT) >> 4]
        self._since_open_test = (self._since_open_test + 1) % OPEN_TEST_EVERY if self.registers[0] & CMODE else 0
        begin_us = self.clock.now_us if first else self._due_us
        self._length_us = length_us
        self._due_us = begin_us + length_us

    def catch_up(self):
        """Finish every conversion that has ended by now. After a long silence only the last ones are worked out."""
        now_us = self.clock.now_us
        while self._due_us is not None and self._due_us <= now_us:
            automatic = self.registers[0] & CMODE
            if not self.has("frozen") and (not automatic or now_us - self._due_us < 4000000 or self._testing):
                self._finish_conversion(self._due_us - self._length_us // 2)
            if automatic:
                self._begin_conversion(False)
            else:
                self._due_us = None
                self.registers[0] &= ~ONE_SHOT

    # The conversion

    def _finish_conversion(self, at_us):
        registers = self.registers
        latched = registers[15] if registers[0] & FAULT_MODE else 0
        status = registers[15] & SR_OPEN
        if self._testing:
            status = SR_OPEN if self.has("open_circuit") else 0
        elif not registers[0] & OCFAULT:
            status = 0
        if self.has("ground_short") or self.has("supply_short"):
            # An input beyond the supply rails stops the conversions; the registers keep their last values.
            registers[15] = latched | status | SR_OVUV
            return
        self.conversions += 1
        if not registers[0] & CJ_OFF:
            cold = self._cold(at_us)
            registers[10] = (cold >> 8) & 0xFF
            registers[11] = cold & 0xFF
        cold = _signed(registers[10] << 8 | registers[11], 16)  # 1/256 degC
        status |= self._cold_status(cold)
        code, hot_status = self._hot(at_us, cold)
        registers[12] = (code >> 16) & 0xFF
        registers[13] = (code >> 8) & 0xFF
        registers[14] = code & 0xFF
        registers[15] = latched | status | hot_status

    def _cold(self, at_us):
        """Register pair CJT: 14 bit in steps of 1/64 degC, left-justified, the offset register (1/16 degC) added."""
        cold_64 = self.cold_1024(at_us) // 16 + _signed(self.registers[9], 8) * 4
        return min(max(cold_64, -0x2000), 0x1FFF) << 2

    def _cold_status(self, cold):
        status = 0
        if not -55 * 256 <= cold <= 125 * 256:
            status |= SR_CJ_RANGE
        if cold > _signed(self.registers[3], 8) * 256:
            status |= SR_CJ_HIGH
        if cold < _signed(self.registers[4], 8) * 256:
            status |= SR_CJ_LOW
        return status

    def _hot(self, at_us, cold):
        """(24-bit register value, status bits)"""
        kind = self.registers[1] & 0x0F
        if kind & 0x08:
            gain = 32 if kind & 0x04 else 8
            # code = gain * 1.6 * 2^17 * V; 1.6 * 2^17 = 209715.2 (CR1, voltage modes)
            code = (2 * self.emf_nv(at_us) * gain * 2097152 + 10**10) // (2 * 10**10)
            return min(max(code, -FULL_SCALE), FULL_SCALE - 1) << 5, 0
        if kind != 3:
            raise NotImplementedError("this model linearises type K only")
        hot_1024 = type_k_1024(self.emf_nv(at_us) + type_k_nv(cold * 4))
        hot_128 = (hot_1024 + 4) // 8
        status = SR_TC_RANGE if not -200 * 128 <= hot_128 <= 1372 * 128 else 0
        if hot_128 // 8 > _signed(self.registers[5] << 8 | self.registers[6], 16):
            status |= SR_TC_HIGH
        if hot_128 // 8 < _signed(self.registers[7] << 8 | self.registers[8], 16):
            status |= SR_TC_LOW
        return min(max(hot_128, -0x40000), 0x3FFFF) << 5, status


def _signed(value, bits):
    return value - (1 << bits) if value >> (bits - 1) else value
