"""MAX31856 in voltage mode: the thermocouple's EMF and the chip's own temperature as raw codes."""

from hotfuel_wire import const
from hotfuel_wire.messages import BIT_ERRORS, CONFIGURATION_LOST, MODES, NO_ANSWER, NOT_READY

from chips import max31856_map as m
from chips.agreed import Agreed

PHASE = 1  # SPI mode 1
_CONFIGURATION = const(10)  # registers 00h-09h
_BURST = const(16)  # registers 00h-0Fh
_RESULT = const(6)  # registers 0Ah-0Fh
_CONFIGURATION_READS = const(3)
_TURNS = const(
    8
)  # answers to the threshold, one soon after another, after which its silence counts: flipped bits alone do not make so many
_NOT_SELF_CLEARING = 0xFF & ~(m.ONE_SHOT | m.FAULTCLR)


class Chip(Agreed):
    """One amplifier. After read_raw(): `hot` (19-bit code, or a reason below NOT_A_CODE), `cold` (1/256 degC), `status` (SR).

    read_raw and configure run in the timer callback: they allocate nothing.
    """

    def __init__(self, board, channel, settings):
        self._bus = board.spi()
        self._select = board.select(channel)
        self._one_shot = settings["mode"] == "one_shot"
        mains_hz, averages, gain = settings["mains_hz"], settings["averages"], settings["gain"]
        cr0 = m.OCFAULT_BELOW_5K | (m.FILTER_50HZ if mains_hz == 50 else m.FILTER_60HZ)
        self._off = cr0
        self._go = cr0 | (m.ONE_SHOT if self._one_shot else m.CMODE_AUTOMATIC)
        cr1 = m.AVERAGES[averages] | m.VOLTAGE_GAIN[gain]
        # What registers 00h-09h must hold. Thresholds stay at their reset values; the cold-junction offset is zero.
        self._want = bytearray(
            (self._go & _NOT_SELF_CLEARING, cr1, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00),
        )
        self._out = bytearray(1 + _BURST)
        self._in = bytearray(1 + _BURST)
        self._again_out = bytearray(1 + _RESULT)
        self._again_out[0] = m.CJTH
        self._again_in = bytearray(1 + _RESULT)
        # Views of what is compared, because a slice would allocate.
        self._result = memoryview(self._in)[1 + m.CJTH :]
        self._again_result = memoryview(self._again_in)[1:]
        self._found = memoryview(self._in)[1 + m.CR1 : 1 + _CONFIGURATION]
        self._wanted = memoryview(self._want)[m.CR1 :]
        self._first = bytearray(_CONFIGURATION)
        self._pair_out = bytearray(2)
        self._pair_in = bytearray(2)
        first_ms, further_ms = m.CONVERSION_MS[("one_shot", mains_hz)]
        first_ms += int(further_ms * (averages - 1))
        self._first_ticks = first_ms * settings["rate_hz"] // 1000 + 1  # until the first automatic conversion is done
        self._wait_ticks = 0
        self._begun = False  # a conversion was started since the last answer
        self._patience = 2 * settings["rate_hz"] + 1  # ticks
        self._turns = 0
        self._still = 0  # ticks since a conversion was proved
        # A quarter of a degC, of EMF and of cold junction.
        Agreed.__init__(self, 60 * gain // 32, 60, not self._one_shot)
        self.hot = NO_ANSWER
        self.description = {
            "gain": gain,
            "mains_hz": mains_hz,
            "averages": averages,
            "mode": MODES[settings["mode"]],
            "resolution_bits": 19,
        }

    def configure(self):
        """Write every configuration register and start converting. The notch frequency may only be changed while the chip is off."""
        self._write(m.CR0, self._off)
        index = m.CR1
        while index < _CONFIGURATION:
            self._write(index, self._want[index])
            index += 1
        self._write(m.CR0, self._go)
        self._begun = True
        self._wait_ticks = 0 if self._one_shot else self._first_ticks

    def read_raw(self):
        """Read registers 00h-0Fh, the result until reads agree, then start the next conversion. Sets hot, cold and status."""
        got = self._in
        self._bus.transfer(self._select, PHASE, self._out, got)
        self.cold = 0
        self.status = 0
        if not self._configured() and not self._found_configured():
            return
        if got[1 + m.CR0] & m.ONE_SHOT:
            self._bus.transfer(self._select, PHASE, self._out, got)
            if got[1 + m.CR0] & m.ONE_SHOT or not self._configured():
                self._agree_without(NOT_READY)  # still converting: let it finish
                return
            self._wrong_read()
        if self._wait_ticks:
            self._wait_ticks -= 1
            self._agree_without(NOT_READY)
        elif self._one_shot and not self._begun:
            self._agree_without(NOT_READY)  # did not answer until now: the register holds an old conversion
        elif self._still > self._patience:
            self._agree_without(NOT_READY)
        elif self._agree() and not (self.hot or self.cold or self.status):
            self.hot = NOT_READY  # all zeros, as after power-on: nothing was converted yet
        self._next()

    def _next(self):
        self._beat()
        if self._one_shot:
            self._write(m.CR0, self._go)
            self._begun = True

    def _found_configured(self):
        """Called if a read differs from what was written. The same difference twice means lost settings; once may be a flipped bit."""
        got, first = self._in, self._first
        for _ in range(_CONFIGURATION_READS - 1):
            if self._silent():
                self.hot = NO_ANSWER
                self._begun = False
                self._known = False
                return False
            index = 0
            while index < _CONFIGURATION:
                first[index] = got[1 + index]
                index += 1
            self._bus.transfer(self._select, PHASE, self._out, got)
            if self._configured():
                self._wrong_read()
                return True
            index = 0
            while index < _CONFIGURATION and first[index] == got[1 + index]:
                index += 1
            if index == _CONFIGURATION and not self._silent():
                # After a brown-out the chip is off and set to linearise: its codes would look like a temperature.
                self.hot = CONFIGURATION_LOST
                self._known = False
                self.configure()
                return False
        self._wrong_read()
        self.hot = BIT_ERRORS
        self._next()  # else the next result would be an old conversion
        return False

    def _again(self):
        got, again = self._in, self._again_in
        self._bus.transfer(self._select, PHASE, self._again_out, again)
        if self._again_result == self._result:
            return True
        index = 1
        while index <= _RESULT:
            got[10 + index] = again[index]
            index += 1
        return False

    def _take(self):
        got = self._in
        self.hot = _signed(got[1 + m.LTCBH] << 11 | got[1 + m.LTCBM] << 3 | got[1 + m.LTCBL] >> 5, 0x40000)
        self.cold = _signed(got[1 + m.CJTH] << 8 | got[1 + m.CJTL], 0x8000)
        self.status = got[1 + m.SR] & ~m.SR_CJ_HIGH

    def _beat(self):
        """Change an unused threshold at every tick and read it back at the next, else with a broken data line to the chip the last conversion would be
        read for ever and look like a steady temperature.

        It also proves that the chip converts, if a chip compares when max31856_map.py says. Above every temperature and below every temperature in
        turn, it is answered by a bit of SR at the end of each conversion; one that stays out for two seconds means that the result is old. Only of a
        chip that has answered before, so one that never does is not found but not refused either; and not while its input is beyond the supply, which
        stops conversions and is told by itself.
        """
        want, status = self._want, self._in[1 + m.SR]
        turn = 1
        if status >> 5 & 1 == want[m.CJHF] >> 7:
            turn = 0xFF
            self._still = 0
            if self._turns < _TURNS:
                self._turns += 1
        elif not status & m.SR_OVUV:
            self._still += 1
            if self._still > self._patience and self._turns < _TURNS:
                self._turns = self._still = 0
            elif self._still % self._patience == 1 and self._still > 1:
                self.configure()  # which starts conversions again, if the chip can
        want[m.CJHF] ^= turn
        self._write(m.CJHF, want[m.CJHF])

    def _write(self, register, value):
        self._pair_out[0] = m.WRITE | register
        self._pair_out[1] = value
        self._bus.transfer(self._select, PHASE, self._pair_out, self._pair_in)

    def _configured(self):
        return self._in[1 + m.CR0] & _NOT_SELF_CLEARING == self._want[m.CR0] and self._found == self._wanted

    def _silent(self):
        """All ones or all zeros means no chip on the bus; a chip after power-on answers 03h and FFh in its registers."""
        got = self._in
        first = got[1]
        if first != 0xFF and first != 0x00:
            return False
        index = 1
        while index < _BURST:
            if got[1 + index] != first:
                return False
            index += 1
        return True


def _signed(code, sign):
    return code - sign - sign if code & sign else code
