"""From the netlist to ngspice and back: a deck of every part that carries current, one run, the waveforms as arrays."""

import shutil
import subprocess
import tempfile
from pathlib import Path

import models
import netlist
import numpy as np

AWAKE_OHM, ASLEEP_OHM = 3.3 / 0.027, 3.3 / 0.0015  # the Pico's current at 3.3 V, as in supply.py
CONVERTER_LEAST_V = 4.5
TIMEOUT_S = 20  # a run takes about one; one that hangs is tried with another method


def available():
    """True where ngspice is installed."""
    return shutil.which("ngspice") is not None


def node(net):
    """A net's name as ngspice accepts it."""
    return "0" if net == "GND" else net.lower().replace("+", "_p").replace("-", "_m")


def _converter(mark, pins, _part):
    vin, out = node(pins["IN"]), node(pins["OUT"])
    on = f"(1/(1+exp(-(v({vin})-{CONVERTER_LEAST_V - 0.2})/0.06)))"
    return [
        f"b{mark}o {mark}s 0 v={on}*(-0.1*ln(exp(-50)+exp(-10*(max(-1,v({vin}))-0.3))))",  # 5 V, or what there is less 0.3 V, without a corner
        f"v{mark}s {mark}s {mark}t 0",
        f"r{mark}o {mark}t {out} 0.05",
        f"b{mark}i {vin} 0 i={on}*(0.001+max(0,v({out})*i(v{mark}s))/0.85)/max(v({vin}),2)",
        f"r{mark}c {out} {mark}c 0.02",
        f"c{mark} {mark}c 0 22u",
    ]


def _pico(mark, pins, load_ohm, levels):
    rail, vsys = node(pins["3V3"]), node(pins["VSYS"])
    rows = [
        f"b{mark}o {mark}s 0 v=3.35/(1+exp(-(v({vsys})-1.8)/0.03))",
        f"v{mark}s {mark}s {mark}t 0",
        f"d{mark}o {mark}t {rail} IDEAL temp=25",
        f"b{mark}i {vsys} 0 i=(v({rail})*max(0,i(v{mark}s))/0.85)/max(v({vsys}),1.5)",
        f"r{mark}l {rail} 0 {load_ohm:.6g}",
        f"r{mark}c {rail} {mark}c 0.02",
        f"c{mark} {mark}c 0 10u",
    ]
    for name, net in pins.items():
        if net.startswith("gp_"):
            pin = node(net)
            rows += [f"d{mark}u{name} {pin} {rail} PIN", f"d{mark}d{name} 0 {pin} PIN"]
            if name in levels:
                rows.append(f"r{mark}p{name} {pin} {rail if levels[name] else '0'} 40")
            elif name in ("ignition", "engine_pulses"):
                rows.append(f"r{mark}p{name} {pin} 0 50k")  # the processor's own pull-down at its strongest
    return rows


def deck(
    battery, faults=(), levels=None, awake=True, ignition=True, pressed=False, breakdown_v=14.0, ambient_degc=25.0, tolerance=0.0
):
    """The deck's text. battery: a pulses.Pulse. faults: (net, net, ohm). levels: pin name -> 0 or 1 of an output. tolerance: of every resistor."""
    levels = {"lamp": 1, "buzzer": 0, "sensor_rail": 1 if awake else 0} if levels is None else levels
    rows = [
        "* hotfuel",
        *models.model_lines(breakdown_v, ambient_degc),
        f".options temp={ambient_degc} tnom=25 savecurrents reltol=2e-3 method=gear",
    ]
    points = " ".join(f"{t:.9g} {v:.6g}" for t, v in battery.points)
    rows += [
        f"vbat src 0 pwl({points})",
        f"rbat src battery {battery.ohm}",
        "rignition battery ignition 1" if ignition else "rignition ignition 0 1k",
    ]
    for mark, part in netlist.PARTS.items():
        pins, low = part.pins, mark.lower()
        at = [node(net) for net in pins.values()]
        if part.kind == "resistor":
            rows.append(f"{low} {at[0]} {at[1]} {part.size * (1 + tolerance):.6g}")
        elif part.kind == "capacitor":
            # the electrolytic loses a third at -20 degC and has 0.3 ohm in series then (usual curves, from memory)
            cold = part.size > 1e-5 and ambient_degc < 0
            in_series = (0.6 if cold else 0.15) if part.size > 1e-5 else 0.02
            rows += [f"r{low} {at[0]} {low}x {in_series}", f"{low} {low}x {at[1]} {part.size * (0.53 if cold else 0.8):.6g}"]
        elif part.kind in ("fuse", "thermal cut-off"):
            rows.append(f"r{low} {at[0]} {at[1]} {0.05 if part.kind == 'fuse' else 0.002}")
        elif part.kind in ("diode", "suppressor", "LED"):
            rows.append(f"d{low} {node(pins['A'])} {node(pins['K'])} {part.model}")
        elif part.kind == "clamp":
            rows += [f"d{low}a 0 {node(pins['M'])} {part.model}", f"d{low}b {node(pins['M'])} {node(pins['K'])} {part.model}"]
        elif part.kind == "suppressor pair" and part.model == "ESD24":
            rows += [
                row for n in ("1", "2") for row in (f"d{low}{n}a {low}{n} {node(pins[n])} ESD24", f"d{low}{n}b {low}{n} 0 ESD24")
            ]
        elif part.kind == "transistor":
            rows.append(f"m{low} {node(pins['D'])} {node(pins['G'])} 0 0 NMOS60 W=1 L=1")
        elif part.kind == "optocoupler":
            out, across = f"{node(pins['C'])} {node(pins['E'])}", f"v({node(pins['C'])},{node(pins['E'])})"
            rows += [f"v{low} {node(pins['A'])} {low}a 0", f"d{low} {low}a {node(pins['K'])} OPTO"]
            rows.append(f"b{low} {out} i=0.8*max(0,i(v{low}))*(1-exp(-max(0,{across})/0.1))")
        elif part.kind == "converter":
            rows += _converter(low, pins, part)
        elif part.kind == "load switch":
            rows.append(f"r{low} {at[0]} {at[1]} {0.2 if awake else 1e7}")
            rows.append(f"r{low}l {at[1]} 0 {550 if pins['OUT'] == '3V3S' else 1e5}")
        elif part.kind == "tracker":
            rows += [
                f"b{low} {at[0]} {node(pins['OUT'])} i=min(0.1,max(0,20*(min(v({node(pins['ADJ'])}),v({at[0]})-0.25)-v({node(pins['OUT'])}))))",
            ]
        elif part.kind == "sender":
            rows += [
                f"r{low} {node(pins['V'])} 0 500",
                f"b{low} {low}s 0 v=0.5*min(5,max(0,v({node(pins['V'])})))",
                f"r{low}o {low}s {node(pins['OUT'])} 100",
            ]
        elif part.kind == "switch":
            rows.append(f"r{low} {at[0]} {at[1]} {0.1 if pressed else 1e9}")
        elif part.kind == "buzzer":
            rows.append(f"r{low} {at[0]} {at[1]} 167")
        elif part.kind == "thermocouple":
            rows.append(f"r{low} {at[0]} {at[1]} 20")
        elif mark == "U1":
            rows += _pico(low, pins, AWAKE_OHM if awake else ASLEEP_OHM, levels)
        elif part.value == "MAX31856":
            rows += [
                f"v{low} {low}b 0 0.735",
                f"r{low} {low}b {node(pins['T-'])} 2k",
                f"c{low} {node(pins['T+'])} {node(pins['T-'])} 100n",
            ]
            rows += [f"r{low}p {node(pins['CS'])} {node('3V3S')} 10k"]  # the module's own pull-up
    rows += ["rcoil coil coilgnd 1meg", "rcoilg coilgnd 0 0.1", "rvbus vbus 0 1meg"]
    rows += [f"rfault{n} {node(a)} {node(b)} {ohm}" for n, (a, b, ohm) in enumerate(faults)]
    if battery.points[0][1] > 10:  # begin awake: a converter with a lock-out also has a state in which it never starts
        rows.append(".nodeset v(vin)=12 v(c2x)=12 v(5v)=5 v(vsys)=4.7 v(3v3)=3.3 v(u2c)=5 v(u1c)=3.3")
    rows += [f".tran {battery.step_s:.3g} {battery.end_s:.6g} 0 {battery.step_s:.3g}", ".end"]
    return "\n".join(rows) + "\n"


def run(text):
    """Waveforms of a deck: name -> array, "time" among them. Raises RuntimeError with ngspice's last lines when no way of integration gives any."""
    for method in ("method=gear", "method=trap", "method=gear gmin=1e-10 itl4=60"):
        try:
            return _once(text.replace("method=gear", method))
        except (RuntimeError, subprocess.TimeoutExpired) as error:
            last = error
    raise RuntimeError(str(last))


def _once(text):
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "out.raw"
        (Path(folder) / "deck.cir").write_text(text, encoding="ascii")
        done = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), "deck.cir"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=TIMEOUT_S,
            check=False,
        )
        said = done.stdout + done.stderr
        if done.returncode or not raw.exists() or "aborted" in said:
            raise RuntimeError("\n".join(said.strip().splitlines()[-6:]))
        return _read(raw.read_bytes())


def _read(content):
    """ngspice's binary raw file, real numbers."""
    head, _, data = content.partition(b"Binary:\n")
    lines = head.decode().splitlines()
    names = [
        line.split()[1]
        for line in lines[next(n for n, line in enumerate(lines) if line.startswith("Variables:")) + 1 :]
        if line.strip()
    ]
    table = np.frombuffer(data, dtype="<f8")
    table = table[: len(table) // len(names) * len(names)].reshape(-1, len(names))
    return {name: table[:, n] for n, name in enumerate(names)}
