"""What a thermocouple amplifier sees at its terminals, whatever the chip: the loop's voltage as the wiring leaves it, and that wiring's faults."""

FAULTS = (
    "open_circuit",  # the loop is broken
    "shorted",  # T+ and T- touch each other
    "ground_short",  # T+ or the sheath touches ground
    "supply_short",  # T+ touches the supply
    "reversed",  # T+ and T- swapped
    "gone",  # no power, or its select or bus wire is off
    "frozen",  # answers, but no longer converts
    "brown_out",  # the supply dips once: registers back to their reset values
)


class Terminals:
    """`noise_nv`: peak of an evenly spread noise added to every conversion; `offset_nv`: the amplifier's own."""

    def __init__(self, world, channel, clock):
        self.world = world
        self.channel = channel
        self.clock = clock
        self.broken = {}
        self.noise_nv = 0
        self.offset_nv = 0
        self._random = 12345 + channel

    def set_fault(self, name, on=True):
        """Switch a fault; ValueError for one this chip cannot have. "noise" takes the peak in nV, "offset" nV."""
        self.catch_up()
        if name == "noise":
            self.noise_nv = int(on)
        elif name == "offset":
            self.offset_nv = int(on)
        elif name == "brown_out":
            if on:
                self.power_on()
        elif name in FAULTS:
            self.broken[name] = bool(on)
        else:
            raise ValueError("there is no fault called %s; there are %s" % (name, ", ".join(FAULTS + ("noise", "offset"))))

    def has(self, fault):
        return self.broken.get(fault, False)

    def answers(self):
        """False if no chip drives the wires."""
        return not self.has("gone")

    def catch_up(self):
        """Finish everything that is due by now."""

    def power_on(self):
        raise NotImplementedError

    def emf_nv(self, at_us):
        """The differential voltage. An open input floats near its bias: 0 V, which looks like the cold junction's temperature, as a shorted one does."""
        if self.has("open_circuit") or self.has("shorted"):
            emf_nv = 0
        else:
            emf_nv = self.world.emf_nv(self.channel, at_us)
            if self.has("reversed"):
                emf_nv = -emf_nv
        if self.noise_nv:
            self._random = (self._random * 1103515245 + 12345) & 0x7FFFFFFF
            emf_nv += (self._random >> 8) % (2 * self.noise_nv + 1) - self.noise_nv
        return emf_nv + self.offset_nv

    def cold_1024(self, at_us):
        return self.world.cold_1024(self.channel, at_us)


# EMF of type K in uV: rows of the ITS-90 reference table (NIST Monograph 175, reference junction at 0 degC), every 10 degC from -40 degC.
TYPE_K_STEP_DEGC = 10
TYPE_K_FROM_DEGC = -40
TYPE_K_UV = (
    (-1527, -1156, -778, -392)
    + (0, 397, 798, 1203, 1612, 2023, 2436, 2851, 3267, 3682)
    + (4096, 4509, 4920, 5328, 5735, 6138, 6540, 6941, 7340, 7739, 8138)
)


def type_k_nv(temperature_1024):
    """EMF in nV of a temperature in 1/1024 degC, -40 to 200 degC, straight lines between the table's rows (within 0.02 degC)."""
    place = temperature_1024 - TYPE_K_FROM_DEGC * 1024
    row = min(max(place // (TYPE_K_STEP_DEGC * 1024), 0), len(TYPE_K_UV) - 2)
    rest = place - row * TYPE_K_STEP_DEGC * 1024
    return (
        (TYPE_K_UV[row] * TYPE_K_STEP_DEGC * 1024 + (TYPE_K_UV[row + 1] - TYPE_K_UV[row]) * rest)
        * 1000
        // (TYPE_K_STEP_DEGC * 1024)
    )


def type_k_1024(emf_nv):
    """The inverse, in 1/1024 degC."""
    row = 0
    while row < len(TYPE_K_UV) - 2 and emf_nv >= TYPE_K_UV[row + 1] * 1000:
        row += 1
    span_nv = (TYPE_K_UV[row + 1] - TYPE_K_UV[row]) * 1000
    rest_nv = emf_nv - TYPE_K_UV[row] * 1000
    return (TYPE_K_FROM_DEGC + row * TYPE_K_STEP_DEGC) * 1024 + rest_nv * TYPE_K_STEP_DEGC * 1024 // span_nv
