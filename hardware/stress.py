"""The stress that the waveforms put on each part, and the rules for it.

Derating (common practice, no source, but where named): steady stress at most these shares of the data sheet's rating; pulses may use the whole rating.
"""

import netlist
import numpy as np
import spice

VOLT_SHARE, AMP_SHARE = 0.8, 0.8
WATT_SHARE = {"film": 0.6, "wire": 0.8}
BELOW_TOP_K = 15.0  # junctions, elements and bodies stay this far under their rating when the stress lasts
FILM_PULSE = 6.25  # short-time overload of 2.5 times the rated voltage for 5 s (IEC 60115-1, from memory)
WIRE_PULSE_J_W = 0.5  # wire-wound in aluminium, a pulse of any length: as much as 5 times the power for 0.1 s (makers allow 5 times for 5 s; from memory)
PIN_MOST_V = 3.8  # RP2040 data sheet: 3.3 V supply plus 0.5 V
PIN_HIGH_V, PIN_LOW_V = 2.0, 0.8  # RP2040 data sheet: read as high, as low, for certain
RAIL_MOST_V = {"3v3": 3.63, "vsys": 5.5, "5v": 5.5}  # RP2040 and Pico data sheets


def kind_of(part):
    """ "wire" or "film" for a resistor."""
    return "wire" if part.watt >= 3 else "film"


def allowed_w(part, around_degc):
    """Power a resistor may take continuously at `around_degc`, before derating by WATT_SHARE: full to 70 degC (25 for R1), none at its maximum."""
    full_at = 25.0 if part.top_degc == 200.0 else 70.0
    return part.watt * np.clip((part.top_degc - around_degc) / (part.top_degc - full_at), 0.0, 1.0)


def _voltage(wave, pins, a, b):
    at = lambda pin: 0.0 if pins[pin] == "GND" else wave[f"v({spice.node(pins[pin])})"]  # noqa: E731
    return at(a) - at(b) + np.zeros_like(wave["time"])


def stress(wave, start_s=0.0):
    """Mark -> dict(volt, amp, watt, mean_w, joule) over the run from start_s: peaks of magnitude, mean power, energy."""
    time = wave["time"]
    from_ = time >= start_s
    found = {}
    for mark, part in netlist.PARTS.items():
        low, pins = mark.lower(), part.pins
        if part.kind == "resistor":
            volts = _voltage(wave, pins, "1", "2")
            amps = volts / part.size
        elif part.kind == "capacitor":
            volts, amps = _voltage(wave, pins, "1", "2"), np.zeros_like(time)
        elif part.kind in ("diode", "suppressor", "LED"):
            volts, amps = _voltage(wave, pins, "A", "K"), wave[f"i(@d{low}[id])"]
        elif part.kind == "clamp":
            up, down = wave[f"i(@d{low}b[id])"], wave[f"i(@d{low}a[id])"]
            amps = np.maximum(np.abs(up), np.abs(down))
            volts = np.where(np.abs(up) > np.abs(down), _voltage(wave, pins, "M", "K"), _voltage(wave, pins, "A", "M"))
        elif part.kind == "transistor":
            volts, amps = _voltage(wave, pins, "D", "S"), wave[f"i(@m{low}[id])"]
        elif part.kind in ("fuse", "thermal cut-off"):
            volts, amps = np.zeros_like(time), wave[f"i(@r{low}[i])"]
        elif part.kind in ("converter", "tracker"):
            volts = _voltage(wave, pins, "IN", "GND")
            amps = wave[f"i(@{'bu2o' if mark == 'U2' else 'bu11'}[i])"]
        else:
            continue
        watts = volts * amps
        if mark == "U11":
            watts = np.abs(amps) * np.maximum(0.0, _voltage(wave, pins, "IN", "OUT"))
        elif mark == "U2":
            watts = 0.15 / 0.85 * 5.0 * np.abs(amps)  # its own losses at 85 % efficiency
        step = np.diff(time[from_])
        joule = float(np.sum(np.abs(watts[from_][1:]) * step))
        found[mark] = {
            "volt": float(np.max(np.abs(volts[from_]))),
            "reverse": float(max(0.0, -np.min(volts[from_]))),
            "amp": float(np.max(np.abs(amps[from_]))),
            "watt": float(np.max(np.abs(watts[from_]))),
            "mean_w": joule / float(time[from_][-1] - time[from_][0]),
            "joule": joule,
            "a2s": float(np.sum(amps[from_][1:] ** 2 * step)),
        }
    return found


def troubles(found, ambient_degc, lasting):
    """Sentences, one for each part over its (derated, when `lasting`) rating; empty when there are none."""
    share_v, share_a = (VOLT_SHARE, AMP_SHARE) if lasting else (1.0, 1.0)
    rows = []
    for mark, s in found.items():
        part = netlist.PARTS[mark]
        volts = s["reverse"] if part.kind in ("diode", "suppressor") else s["volt"]
        if part.volt and part.kind not in ("suppressor", "clamp", "thermal cut-off", "fuse") and volts > part.volt * share_v:
            rows.append(f"{mark}: {volts:.1f} V of {part.volt:g} V allowed")
        if (
            part.amp
            and not part.protected
            and part.kind not in ("suppressor", "fuse", "transistor")
            and lasting
            and s["amp"] > part.amp * share_a
        ):
            rows.append(f"{mark}: {1000 * s['amp']:.0f} mA of {1000 * part.amp:g} mA allowed")
        if part.kind == "resistor":
            kind = kind_of(part)
            if lasting and s["mean_w"] > (most := allowed_w(part, ambient_degc) * WATT_SHARE[kind]):
                rows.append(f"{mark}: {s['mean_w']:.2f} W of {most:.2f} W allowed")
            elif not lasting and kind == "wire" and s["joule"] > (most := part.watt * WIRE_PULSE_J_W):
                rows.append(f"{mark}: {s['joule']:.1f} J of {most:.1f} J allowed")
            elif not lasting and kind == "film" and s["watt"] > (most := part.watt * FILM_PULSE):
                rows.append(f"{mark}: {s['watt']:.2f} W of {most:.2f} W allowed")
        elif part.k_w and lasting and not part.protected:
            top = ambient_degc + part.k_w * s["mean_w"]
            if top > part.top_degc - BELOW_TOP_K:
                rows.append(f"{mark}: {top:.0f} °C of {part.top_degc - BELOW_TOP_K:.0f} °C allowed")
    return rows


def pin_troubles(wave, start_s=0.0, powered=True):
    """Sentences, one for each processor pin or rail outside what the data sheets allow."""
    from_ = wave["time"] >= start_s
    rows = []
    for name, most in RAIL_MOST_V.items():
        top = float(wave[f"v({name})"][from_].max())
        if top > most:
            rows.append(f"{name}: {top:.2f} V of {most} V allowed")
    for net in netlist.PARTS["U1"].pins.values():
        if net.startswith("gp_"):
            seen = wave[f"v({net})"][from_]
            if seen.max() > PIN_MOST_V or seen.min() < -0.5:
                rows.append(f"{net}: {seen.min():.2f} to {seen.max():.2f} V, allowed −0.5 to {PIN_MOST_V} V")
    return rows
