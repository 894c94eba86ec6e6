"""Heat in the supply pod: ten pulses through the suppressor and R1, and a lasting short behind R1. Small thermal networks, stepped in time.

The pod: aluminium, 110 x 60 x 30 mm, 150 g (a usual die-cast box). Film of air and radiation 5 W/m2K (still air, boxed in) to 15 (free, draughty).
"""

from dataclasses import dataclass

import netlist
import numpy as np
import stress

# Suppressor half: die 36 mm2 x 0.35 mm silicon at 1.6 MJ/m3K; copper slug 1.5 g (of 2.6 g, data sheet); slug to its board 25 K/W (assumption)
DIE_J_K, SLUG_J_K, SLUG_K_W = 0.020, 0.58, 25.0
# R1: former and wire 6 g; housing 30 g aluminium. 3.5 K/W in all on the maker's plate (WH50 data sheet, of which 1.0 is taken for the plate's share)
ELEMENT_J_K, ELEMENT_K_W, HOUSING_J_K, MOUNT_K_W = 5.0, 2.5, 27.0, 0.5
POD_J_K, POD_M2, INSIDE_K_W = 135.0, 0.0234, 4.3  # wall; air inside to wall, 10 W/m2K
FILMS_W_M2_K = (5.0, 10.0, 15.0)
CUTOFF_J_K, CUTOFF_K_W = 1.0, 5.0  # thermal cut-off pressed onto R1's housing with paste (assumption)
CUTOFF_TOP_DEGC = netlist.PARTS[
    "F2"
].top_degc  # its rated functioning temperature: it has opened at the latest there (data sheets of the kind: +0/-10 K)
# it must not stay above this: Therm-O-Disc MICROTEMP G4A, 104 and 79 degC; 15 K below at 216 degC
CUTOFF_HOLD_DEGC = CUTOFF_TOP_DEGC - 25.0


def pulse_train(time_s, r1_w, tv_w, ambient_degc, times, every_s=60.0, step_s=2e-4):
    """(hottest element of R1, hottest junction of one suppressor half) in degC over `times` equal pulses."""
    grid = np.arange(0.0, time_s[-1], min(step_s, time_s[-1] / 200))
    step = grid[1] - grid[0]
    # mean power of each step, not a sample of it: short pulses keep their energy
    r1, tv = (np.diff(np.interp(np.append(grid, grid[-1] + step), time_s, _integral(time_s, w))) / step for w in (r1_w, tv_w))
    element, housing, slug = ambient_degc, ambient_degc, ambient_degc
    top_r1 = top_tv = ambient_degc
    for _ in range(times):
        die = slug
        for p_r1, p_tv in zip(r1, tv, strict=True):
            flow = (die - slug) / netlist.PARTS["TV1"].k_w
            die += step * (p_tv - flow) / DIE_J_K
            slug += step * (flow - (slug - ambient_degc) / SLUG_K_W) / SLUG_J_K
            out = (element - housing) / ELEMENT_K_W
            element += step * (p_r1 - out) / ELEMENT_J_K
            housing += step * (out - (housing - ambient_degc) / MOUNT_K_W) / HOUSING_J_K
            top_r1, top_tv = max(top_r1, element), max(top_tv, die)
        slug = ambient_degc + (slug - ambient_degc) * np.exp(-(every_s - grid[-1]) / (SLUG_J_K * SLUG_K_W))
        element = ambient_degc + (element - ambient_degc) * np.exp(-(every_s - grid[-1]) / (ELEMENT_J_K * ELEMENT_K_W))
        housing = ambient_degc + (housing - ambient_degc) * np.exp(-(every_s - grid[-1]) / (HOUSING_J_K * MOUNT_K_W))
    return float(top_r1), float(top_tv)


def _integral(x, y):
    return np.concatenate(([0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x))))


@dataclass(frozen=True)
class Short:
    """A sweep of shorts behind R1. Arrays over all cases, one entry each."""

    cases: list  # (fault ohm, battery V, ambient degC, film W/m2K)
    opened_s: np.ndarray  # inf where it never opens
    outside_s: np.ndarray  # how long something was outside its derated rating
    r1_w: np.ndarray
    r1_degc: np.ndarray
    wall_degc: np.ndarray
    inside_degc: np.ndarray
    diode_degc: np.ndarray


OHMS = (0.0, 0.5, 1.0, 2.0, 4.0, 7.0, 10.0, 15.0, 22.0, 33.0, 47.0, 68.0, 100.0)
VOLTS, AMBIENTS_DEGC = (9.0, 11.0, 12.6, 14.4, 16.0), (-20.0, 0.0, 25.0, 60.0, 85.0)


def short_sweep(r1=None, cutoff=True, tolerance=-0.05, hours=3.0, step_s=0.25):
    """Every fault of 0 to 100 ohm behind R1, 9 to 16 V, -20 to 85 degC: a Short. r1: another part in R1's place (a netlist.Part)."""
    r1 = r1 or netlist.PARTS["R1"]
    cases = [(ohm, volt, amb, film) for ohm in OHMS for volt in VOLTS for amb in AMBIENTS_DEGC for film in FILMS_W_M2_K]
    fault, volt, ambient, film = np.array(cases).T
    ohm = r1.size * (1 + tolerance)
    amps = (volt - 0.75) / (ohm + fault)
    heat_r1, heat_fault, heat_diode = amps**2 * ohm, amps**2 * fault, 0.95 * amps
    pod_k_w = 1 / (film * POD_M2)
    element, housing, wall, link = (ambient.copy() for _ in range(4))
    opened, outside = np.full(len(cases), np.inf), np.zeros(len(cases))
    tops = [ambient.copy() for _ in range(4)]
    diode_part, hold = netlist.PARTS["D1"], np.ones(len(cases))
    neighbours_top = min(netlist.PARTS[mark].top_degc for mark in ("C1", "R3")) - stress.BELOW_TOP_K
    for n in range(int(hours * 3600 / step_s)):
        out, through = (element - housing) / ELEMENT_K_W, (housing - wall) / MOUNT_K_W
        element += step_s * (hold * heat_r1 - out) / ELEMENT_J_K
        housing += step_s * (out - through) / HOUSING_J_K
        wall += step_s * (through + hold * (heat_fault + heat_diode) - (wall - ambient) / pod_k_w) / POD_J_K
        link += step_s * (housing - link) / (CUTOFF_J_K * CUTOFF_K_W)
        inside = wall + INSIDE_K_W * hold * (heat_diode + 0.5 * heat_fault)  # half of a failed part's heat goes into its board
        diode = inside + diode_part.k_w * hold * heat_diode
        for top, now in zip(tops, (element, wall, inside, diode), strict=True):
            np.maximum(top, now, out=top)
        over = hold * heat_r1 > stress.WATT_SHARE["wire"] * stress.allowed_w(r1, housing)
        over |= (element > r1.top_degc - stress.BELOW_TOP_K) | (inside > neighbours_top)
        over |= diode > diode_part.top_degc - stress.BELOW_TOP_K
        outside += step_s * over
        if cutoff:
            opens = (link >= CUTOFF_TOP_DEGC) & (hold > 0)
            opened[opens] = n * step_s
            hold[opens] = 0.0
    return Short(cases, opened, outside, heat_r1, *tops)
