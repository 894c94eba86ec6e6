"""The circuit as data: every part with its value, its ratings, and the net each of its pins is on.

Wiring diagram, parts list, rule check, simulation, board layout and the tables of the pages all come from here. Ratings are those of the kind named in
the parts list (data sheets are named in models.py); net names in capitals are leads and rails, `gp_<name>` is the pin of that name in firmware/pins.py.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Part:
    """One part. pins: pin name -> net. Ratings are the data sheet's, before derating; 0 where the kind has none of that sort."""

    kind: str
    value: str
    pins: dict
    size: float = 0.0  # ohm or farad, for resistors and capacitors
    watt: float = 0.0
    volt: float = 0.0
    amp: float = 0.0
    top_degc: float = 0.0  # highest temperature of junction, element or body
    k_w: float = 0.0  # thermal resistance to what is around it, K/W
    model: str = ""  # name in models.py
    place: str = "box"  # "pod", "box", or "car" for what is in neither
    protected: bool = False  # limits its own current and temperature (data sheet)


def _r(ohm, a, b, watt=0.25, volt=250.0, place="box", value=None):
    """A film resistor: 70 degC full power, 155 degC none (usual data sheets of metal film, IEC 60115-1 style derating; from memory)."""
    text = value or (f"{ohm / 1000:g}k" if ohm >= 1000 else f"{ohm:g}R")
    return Part("resistor", text, {"1": a, "2": b}, ohm, watt, volt, top_degc=155.0, k_w=85.0 / watt, place=place)


def _c(farad, text, a, b, volt=50.0, place="box", top=125.0):
    return Part("capacitor", text, {"1": a, "2": b}, farad, volt=volt, top_degc=top, place=place)


def _d(text, model, anode, cathode, volt, amp, k_w, top=150.0, place="box"):
    return Part("diode", text, {"A": anode, "K": cathode}, volt=volt, amp=amp, k_w=k_w, top_degc=top, model=model, place=place)


def _clamp(text, model, node, volt):
    """Dual Schottky in series: one half from ground up to the node, one from the node up to 3V3."""
    return Part("clamp", text, {"A": "GND", "M": node, "K": "3V3"}, volt=volt, amp=0.07, k_w=430.0, top_degc=125.0, model=model)


def _esd(a, b):
    """Dual bidirectional suppressor, 24 V stand-off."""
    return Part("suppressor pair", "24 V, two lines", {"1": a, "2": b, "3": "GND"}, volt=24.0, model="ESD24")


def _loaddump(anode, cathode):
    """Half of the load-dump suppressor: two of 12 V in series share the heat."""
    return Part(
        "suppressor", "12 V", {"A": anode, "K": cathode}, volt=12.0, amp=332.0, watt=8.0, top_degc=175.0, k_w=0.9, model="LOADDUMP", place="pod"
    )  # fmt: skip


def _amplifier(channel, positive, negative):
    return Part(
        "module",
        "MAX31856",
        {"VCC": "3V3S", "GND": "GND", "CS": f"CS{channel}", "SCK": "SCK", "SDI": "SDI", "SDO": "gp_spi_miso", "T+": positive, "T-": negative},
        volt=3.6,
        top_degc=85.0,
    )  # fmt: skip


def _pico():
    """U1 by what is wired to it: rails and GPIOs by name, the latter as in firmware/pins.py."""
    names = (
        "spi_miso", "spi_sck", "spi_mosi", "select_0", "select_1", "select_2", "i2c_sda", "i2c_scl", "engine_pulses", "ignition",
        "button", "lamp", "buzzer", "sensor_rail", "battery", "fuel_pressure",
    )  # fmt: skip
    rails = {"3V3": "3V3", "VSYS": "VSYS", "VBUS": "VBUS", "GND": "GND", "USB_DP": "USB_DP", "USB_DM": "USB_DM"}
    return Part("module", "Pico", rails | {name: f"gp_{name}" for name in names}, volt=5.5, top_degc=85.0)


PARTS = {
    # The supply pod: everything that a load dump or a short can make hot, in its own small metal box
    "F1": Part("fuse", "3 A", {"1": "BATTERY", "2": "12V"}, amp=3.0, volt=32.0, place="car"),
    "D1": _d("3 A 400 V", "RECTIFIER", "12V", "VD", 400.0, 3.0, 20.0, 175.0, "pod"),
    "F2": Part("thermal cut-off", "117 °C", {"1": "VD", "2": "VT"}, amp=10.0, volt=250.0, top_degc=117.0, place="pod"),
    "R1": Part("resistor", "15R 50 W", {"1": "VT", "2": "VIN"}, 15.0, 50.0, 1250.0, top_degc=200.0, k_w=3.5, place="pod"),
    "TV1": _loaddump("VMID", "VIN"),
    "TV2": _loaddump("GND", "VMID"),
    "C1": _c(1e-6, "1u 100 V", "VIN", "GND", 100.0, "pod", 150.0),
    "R3": _r(100e3, "12V", "SENSE", place="pod"),
    # Rails
    "C2": _c(1000e-6, "1000u", "VIN", "GND", 50.0, top=125.0),
    "U2": Part(
        "converter", "buck 5 V, 1 A", {"IN": "VIN", "OUT": "5V", "GND": "GND"}, volt=45.0, amp=1.0, top_degc=125.0, k_w=40.0
    ),
    "D2": _d("Schottky", "SCHOTTKY1A", "5V", "VSYS", 40.0, 1.0, 50.0, 125.0),
    "U1": _pico(),
    "U3": Part("load switch", "3.3 V", {"IN": "3V3", "OUT": "3V3S", "EN": "gp_sensor_rail", "GND": "GND"}, volt=5.5, amp=0.2),
    "U4": Part("load switch", "5 V", {"IN": "5V", "OUT": "5VR", "EN": "gp_sensor_rail", "GND": "GND"}, volt=5.5, amp=0.2),
    "U11": Part(
        "tracker",
        "50 mA",
        {"IN": "VIN", "ADJ": "5VR", "OUT": "5VS", "GND": "GND"},
        volt=45.0,
        amp=0.05,
        top_degc=150.0,
        k_w=172.0,
        protected=True,
    ),
    "C6": _c(2.2e-6, "2.2u", "5VS", "GND"),
    "R2": _r(100e3, "gp_sensor_rail", "GND"),
    # Battery voltage
    "R4": _r(10e3, "SENSE", "GND"),
    "D3": _clamp("BAS70", "BAS70", "SENSE", 70.0),
    "R5": _r(1e3, "SENSE", "gp_battery"),
    "C3": _c(100e-9, "100n", "gp_battery", "GND"),
    # Fuel pressure
    "PS1": Part("sender", "0.5 to 4.5 V", {"V": "5VS", "OUT": "PRESSURE", "GND": "GND"}, volt=16.0, place="car"),
    "R12": _r(30e3, "PRESSURE", "PDIV"),
    "R13": _r(59e3, "PDIV", "GND"),
    "D6": _clamp("BAS70", "BAS70", "PDIV", 70.0),
    "R14": _r(1e3, "PDIV", "gp_fuel_pressure"),
    "C5": _c(100e-9, "100n", "gp_fuel_pressure", "GND"),
    # Ignition sensed: high from 6 V at the wire (cranking) up
    "R6": _r(12e3, "IGNITION", "IDIV", 0.5, 350.0),
    "R7": _r(8.2e3, "IDIV", "GND"),
    "D4": _clamp("BAT54S", "BAT54", "IDIV", 30.0),
    "C7": _c(100e-9, "100n", "IDIV", "GND"),
    "R8": _r(1e3, "IDIV", "gp_ignition"),
    # Engine speed
    "R9": _r(3.3e3, "COIL", "COIL2", 1.0, 350.0, "car"),
    "R10": _r(3.3e3, "COIL2", "PULSE", 1.0, 350.0, "car"),
    "D5": _d("1N4148", "SIGNAL", "COILGND", "PULSE", 100.0, 0.2, 350.0),
    "U5": Part(
        "optocoupler",
        "transistor side",
        {"A": "PULSE", "K": "COILGND", "C": "3V3", "E": "gp_engine_pulses"},
        volt=30.0,
        amp=0.06,
        top_degc=110.0,
        model="OPTO",
    ),
    "R11": _r(4.7e3, "gp_engine_pulses", "GND"),
    "C4": _c(47e-9, "47n", "gp_engine_pulses", "GND"),
    # Button
    "S1": Part("switch", "", {"1": "BUTTON", "2": "GND"}, place="car"),
    "D10": _esd("BUTTON", "PRESSURE"),
    "R15": _r(470.0, "BUTTON", "BDIODE"),
    "D8": _d("BAT46", "BAT46", "gp_button", "BDIODE", 100.0, 0.15, 300.0, 125.0),
    "R27": _r(4.7e3, "3V3", "gp_button"),
    "C8": _c(100e-9, "100n", "gp_button", "GND"),
    # Lamp
    "D9": _d("BAT46", "BAT46", "VSYS", "LAMPFEED", 100.0, 0.15, 300.0, 125.0),
    "R16": _r(100.0, "LAMPFEED", "LAMP+", 0.5, 350.0),
    "LP1": Part("LED", "amber LED", {"A": "LAMP+", "K": "LAMP-"}, amp=0.03, model="AMBER", place="car"),
    "D11": _esd("LAMP+", "LAMP-"),
    "R26": Part("resistor", "82R 5 W", {"1": "LAMP-", "2": "DRAIN1"}, 82.0, 5.0, 350.0, top_degc=275.0, k_w=41.0),
    "Q1": Part(
        "transistor",
        "n",
        {"G": "gp_lamp", "D": "DRAIN1", "S": "GND"},
        volt=60.0,
        amp=1.0,
        watt=0.35,
        top_degc=150.0,
        k_w=350.0,
        model="NMOS60",
    ),
    "R17": _r(100e3, "gp_lamp", "GND"),
    # Buzzer, in the wall of the box: no lead leaves it
    "BZ1": Part("buzzer", "active 5 V", {"+": "VSYS", "-": "DRAIN2"}, amp=0.03, volt=7.0),
    "D7": _d("1N4148", "SIGNAL", "DRAIN2", "VSYS", 100.0, 0.2, 350.0),
    "Q2": Part(
        "transistor",
        "n",
        {"G": "gp_buzzer", "D": "DRAIN2", "S": "GND"},
        volt=60.0,
        amp=1.0,
        watt=0.35,
        top_degc=150.0,
        k_w=350.0,
        model="NMOS60",
    ),
    "R18": _r(100e3, "gp_buzzer", "GND"),
    # I2C
    "R19": _r(4.7e3, "3V3S", "gp_i2c_sda"),
    "R20": _r(4.7e3, "3V3S", "gp_i2c_scl"),
    "U6": Part(
        "module",
        "DS3231",
        {"VCC": "3V3S", "GND": "GND", "SDA": "gp_i2c_sda", "SCL": "gp_i2c_scl", "VBAT": "CELL"},
        volt=5.5,
        top_degc=85.0,
    ),
    "U7": Part(
        "module",
        "BMP280 or BMP390",
        {"VCC": "3V3S", "GND": "GND", "SDA": "gp_i2c_sda", "SCL": "gp_i2c_scl"},
        volt=3.6,
        top_degc=85.0,
    ),
    "BT1": Part("cell", "3 V", {"+": "CELL", "-": "GND"}, volt=3.0),
    # Amplifiers
    "R21": _r(100.0, "gp_spi_sck", "SCK"),
    "R22": _r(100.0, "gp_spi_mosi", "SDI"),
    "R23": _r(1e3, "gp_select_0", "CS0"),
    "R24": _r(1e3, "gp_select_1", "CS1"),
    "R25": _r(1e3, "gp_select_2", "CS2"),
    "U8": _amplifier(0, "T0P", "T0N"),
    "U9": _amplifier(1, "T1P", "T1N"),
    "U10": _amplifier(2, "T2P", "T2N"),
    # USB
    "J4": Part("socket", "USB", {"VBUS": "VBUS", "D+": "USB_DP", "D-": "USB_DM", "GND": "GND"}),
    "D15": Part("suppressor pair", "USB, 5 V", {"1": "USB_DP", "2": "USB_DM", "3": "GND", "V": "VBUS"}, volt=5.25, model="ESD5"),
}
for _n in range(3):
    PARTS[f"R{28 + 2 * _n}"] = _r(100.0, f"J{_n + 1}P", f"T{_n}P")
    PARTS[f"R{29 + 2 * _n}"] = _r(100.0, f"J{_n + 1}N", f"T{_n}N")
    PARTS[f"D{12 + _n}"] = _esd(f"J{_n + 1}P", f"J{_n + 1}N")
    PARTS[f"J{_n + 1}"] = Part("socket", "K plug", {"+": f"J{_n + 1}P", "-": f"J{_n + 1}N"})
    PARTS[f"TC{_n + 1}"] = Part("thermocouple", "type K, insulated", {"+": f"J{_n + 1}P", "-": f"J{_n + 1}N"}, place="car")

# Leads from the car that end at none of our parts: net -> where it comes from
FROM_THE_CAR = {
    "BATTERY": "the battery's positive post",
    "IGNITION": "a wire live with the ignition on, through a fuse",
    "COIL": "the coil's switched side or the tachometer wire",
    "COILGND": "ground at the coil",
    "GND": "the battery's negative post or the body stud",
}


def nets():
    """Net -> list of (mark, pin) on it."""
    found = {}
    for mark, part in PARTS.items():
        for pin, net in part.pins.items():
            found.setdefault(net, []).append((mark, pin))
    return found


def ohm(mark):
    """Resistance of a part in ohm."""
    return PARTS[mark].size
