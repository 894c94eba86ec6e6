"""Plug flow through a hose: when fuel that leaves had entered, and its temperature at the outlet; and what a first-order probe shows of it."""

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dtbtrs

DENSITY_KG_M3 = 740.0  # gasoline, EN 228: 720 to 775 at 15 degC
CP_J_KG_K = 2100.0  # sources disagree, 2000 to 2400
CP_SHARE = 0.1
SLOWEST_L_H = 0.05


def delay_s(volume_l: float, flow_l_h: npt.ArrayLike) -> np.ndarray:
    """Time to pass a volume at a steady flow. Example: delay_s(0.148, 10) -> 53 s (3 m of 5/16 line at idle)."""
    return volume_l / np.asarray(flow_l_h, dtype=float) * 3600


def outlet(
    time_s: npt.ArrayLike,
    inlet_degc: npt.ArrayLike,
    flow_l_h: npt.ArrayLike,
    volume_l: float,
    ua_w_k: float,
    surroundings_degc: npt.ArrayLike,
    density_kg_m3: float = DENSITY_KG_M3,
    cp_j_kg_k: float = CP_J_KG_K,
) -> np.ndarray:
    """Temperature at the outlet (n,): plug flow with heat exchange along it; all inputs (n,) or numbers, times rising evenly.

    Until one hose volume has flowed, the inlet's first value is used for the fuel that was in the hose at the start.
    """
    t = np.asarray(time_s, dtype=float)
    inlet = np.asarray(inlet_degc, dtype=float)
    flow = np.maximum(np.broadcast_to(np.asarray(flow_l_h, dtype=float), t.shape), 0.0)
    around = np.broadcast_to(np.asarray(surroundings_degc, dtype=float), t.shape)
    flowed = flowed_l(t, flow)
    entered = entered_s(t, flowed, volume_l)
    known = np.isfinite(entered)
    entered = np.where(known, entered, t[0] + (flowed - volume_l) / max(float(flow[0]) / 3600, SLOWEST_L_H / 3600))
    inside_s = t - entered
    rate = ua_w_k / (density_kg_m3 * volume_l / 1000 * cp_j_kg_k)
    # Fuel that never moved would follow its surroundings with a lag of 1 / rate; fuel that entered differs from it by an exponentially decaying difference.
    halfway = np.concatenate([around[:1], (around[1:] + around[:-1]) / 2])
    stood = lagged(t, halfway, 1 / max(rate, 1e-12))
    answer: np.ndarray = stood + (np.interp(entered, t, inlet) - np.interp(entered, t, stood)) * np.exp(-rate * inside_s)
    return answer


def flowed_l(t: np.ndarray, flow: np.ndarray) -> np.ndarray:
    """Litres that have flowed since the first time, (n,), from a flow in L/h."""
    return np.concatenate([[0.0], np.cumsum((flow[1:] + flow[:-1]) / 2 * np.diff(t))]) / 3600


def entered_s(t: np.ndarray, flowed_l: np.ndarray, volume_l: float) -> np.ndarray:
    """When the fuel that leaves at each time entered; nan for fuel that was in the hose at the start."""
    # While fuel stands the volume stays constant; it must rise a little for the inverse to exist.
    answer: np.ndarray = np.interp(flowed_l - volume_l, flowed_l + 1e-12 * np.arange(len(t)), t, left=np.nan)
    return answer


def lagged(time_s: npt.ArrayLike, degc: npt.ArrayLike, lag_s: float) -> np.ndarray:
    """The reading of a first-order probe with that lag for a temperature (n,), times rising evenly."""
    t, x = np.asarray(time_s, dtype=float), np.asarray(degc, dtype=float)
    if lag_s <= 0:
        return x.copy()
    keep = float(np.exp(-np.median(np.diff(t)) / lag_s))
    # y[n] - keep y[n-1] = (1 - keep) x[n], settled before the first: a band of two, in the library that is loaded anyway (scipy.signal takes 0.8 s)
    band = np.empty((2, len(x)))
    band[0], band[1] = 1.0, -keep
    right = (1 - keep) * x
    right[0] = x[0]
    return np.asarray(dtbtrs(band, right, uplo="L", diag="U")[0])


def bridged(values: np.ndarray) -> np.ndarray:
    """Gaps (nan) filled by straight lines; at least one value must be known."""
    good = np.flatnonzero(np.isfinite(values))
    answer: np.ndarray = np.interp(np.arange(len(values)), good, values[good])
    return answer
