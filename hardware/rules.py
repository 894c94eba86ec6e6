"""The electrical rule check: what must hold for any circuit. Each function returns sentences; none means a clean netlist.

Written here because the rules are few and need this project's ratings; the library for it (skidl) comes with part libraries and its own language.
"""

from collections import Counter

import further
import netlist

# What a pin of each kind does. "through": conducts (a two-pin part); the rest as usual in electrical rule checks.
PIN_TYPES = {
    "converter": {"IN": "supply_in", "OUT": "supply_out", "GND": "ground"},
    "load switch": {"IN": "supply_in", "OUT": "supply_out", "EN": "in", "GND": "ground"},
    "tracker": {"IN": "supply_in", "ADJ": "in", "OUT": "supply_out", "GND": "ground"},
    "sender": {"V": "supply_in", "OUT": "out", "GND": "ground"},
    "optocoupler": {"A": "through", "K": "through", "C": "supply_in", "E": "out"},
    "transistor": {"G": "in", "D": "open", "S": "ground"},
    "cell": {"+": "supply_out", "-": "ground"},
}
MODULES = {
    "MAX31856": {
        "VCC": "supply_in",
        "GND": "ground",
        "CS": "in",
        "SCK": "in",
        "SDI": "in",
        "SDO": "tristate",
        "T+": "through",
        "T-": "through",
    },
    "DS3231": {"VCC": "supply_in", "GND": "ground", "SDA": "open", "SCL": "in", "VBAT": "supply_in"},
    "BMP280 or BMP390": {"VCC": "supply_in", "GND": "ground", "SDA": "open", "SCL": "in"},
}
RAIL_PINS = {
    "3V3": "supply_out",
    "VSYS": "supply_in",
    "VBUS": "supply_in",
    "GND": "ground",
    "USB_DP": "through",
    "USB_DM": "through",
}
DIRECTIONS = {"in": "in", "out": "out", "both": "open", "analogue": "in"}


def pin_type(mark, pin, pins):
    """The type of a pin. pins: the module firmware/pins.py."""
    part = netlist.PARTS[mark]
    if mark == "U1":
        direction = {name: way for name, _, way in pins.PINS}
        return RAIL_PINS.get(pin) or DIRECTIONS[direction[pin]]
    if part.kind == "module":
        return MODULES[part.value][pin]
    return PIN_TYPES.get(part.kind, {}).get(pin, "through")


CONDUCT = ("resistor", "diode", "LED", "fuse", "thermal cut-off", "switch", "suppressor", "buzzer", "thermocouple")
FEED_OHM = 20.0  # a supply may come through at most this much


def _feeds(part):
    return part.kind in ("diode", "fuse", "thermal cut-off") or (part.kind == "resistor" and part.size <= FEED_OHM)


def _reaches(nets, start, drivers, through):
    """True if a driven net can be reached from `start` through parts that conduct."""
    seen, todo = {start}, [start]
    while todo:
        net = todo.pop()
        if net in drivers:
            return True
        for mark, _ in nets[net]:
            part = netlist.PARTS[mark]
            if through(part):
                for other in part.pins.values():
                    if other not in seen and other != "GND":
                        seen.add(other)
                        todo.append(other)
    return False


def undriven(pins):
    """Inputs and supplies that nothing drives; a supply pin needs a supply, a signal any driver."""
    nets = netlist.nets()
    kinds = {net: {pin_type(mark, pin, pins) for mark, pin in there} for net, there in nets.items()}
    supplies = {net for net, types in kinds.items() if "supply_out" in types} | {"BATTERY", "VBUS"}
    drivers = supplies | {net for net, types in kinds.items() if {"out", "tristate"} & types} | set(netlist.FROM_THE_CAR)
    rows = []
    for net, types in kinds.items():
        if "supply_in" in types and not _reaches(nets, net, supplies, _feeds):
            rows.append(f"{net}: no supply feeds it")
        elif {"in", "open"} & types and not _reaches(nets, net, drivers, lambda part: part.kind in CONDUCT):
            rows.append(f"{net}: nothing drives it")
    return rows


def fights(pins):
    """Nets with two push-pull outputs."""
    rows = []
    for net, there in netlist.nets().items():
        pushing = [f"{mark}.{pin}" for mark, pin in there if pin_type(mark, pin, pins) in ("out", "supply_out")]
        if len(pushing) > 1:
            rows.append(f"{net}: {' and '.join(pushing)} drive it")
    return rows


def loose():
    """Nets with only one pin that do not come from the car."""
    return [
        f"{net}: only {there[0][0]}.{there[0][1]} is on it"
        for net, there in netlist.nets().items()
        if len(there) < 2 and net not in netlist.FROM_THE_CAR
    ]


def unreferenced_grounds(pins):
    """Ground pins that are not on ground, and outputs or supplies that are."""
    rows = []
    for mark, part in netlist.PARTS.items():
        for pin, net in part.pins.items():
            kind = pin_type(mark, pin, pins)
            if (kind == "ground") != (net == "GND") and kind not in ("through",):
                rows.append(f"{mark}.{pin} ({kind}) is on {net}")
    return rows


def pins_off_their_net(pins, channels=3):
    """Rows of firmware/pins.py that do not have their own net at U1, in the box or among its optional additions (further.py); except for the selects of
    channels not fitted."""
    free = {f"select_{channel}" for channel in range(channels, 8)}
    drawings = (netlist.PARTS, further.PARTS)
    wired = {pin: net for parts in drawings for pin, net in parts["U1"].pins.items() if net.startswith("gp_")}
    pins_on = Counter(net for parts in drawings for part in parts.values() for net in part.pins.values())
    named = {name for name, _, _ in pins.PINS} - free
    rows = [f"{name}: in pins.py and not wired" for name in sorted(named - set(wired))]
    rows += [f"{name}: wired and not in pins.py" for name in sorted(set(wired) - named)]
    rows += [f"{name}: alone on its net" for name, net in wired.items() if pins_on[net] < 2]
    return rows


def select_low_v(mark, pull_up_ohm=10e3, rail_v=3.3, output_low_v=0.0):
    """Voltage at the select of a module with its own pull-up while the board holds it low, V."""
    return output_low_v + (rail_v - output_low_v) * netlist.ohm(mark) / (netlist.ohm(mark) + pull_up_ohm)


def all_rows(pins):
    """The sentences of all rules."""
    return undriven(pins) + fights(pins) + loose() + unreferenced_grounds(pins) + pins_off_their_net(pins)
