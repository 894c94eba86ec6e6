"""Published correlations of gasoline volatility, each one function with source and range, and the class tables with their editions.

A value outside a correlation's range is refused with the range in the message. Arrays in, arrays out, broadcasting.
"""

import numpy as np
from numpy.typing import ArrayLike

from hotfuel.errors import InputError
from hotfuel.fuel.components import Array, rows

KPA_PER_PSI = 6.894757293168361
RANKINE_AT_0_DEGF = 459.67


def require_range(value: ArrayLike, low: float, high: float, name: str, unit: str) -> Array:
    """`value` as an array if every element is a number from `low` to `high`; else InputError naming the value and the range."""
    array = np.asarray(value, dtype=float)
    bad = ~((array >= low) & (array <= high))
    if np.any(bad):
        raise InputError(
            f"{name} {float(array[bad].flat[0]):g} {unit} is outside {low:g} to {high:g} {unit}: check the value and its unit"
        )
    return array


def true_vapour_pressure_kpa(
    reid_vapour_pressure_kpa: ArrayLike, temperature_degc: ArrayLike, slope_degf_per_percent: ArrayLike = 3.0
) -> Array:
    """True vapour pressure of a hydrocarbon gasoline from its Reid vapour pressure.

    P = exp(A - B/T), P in psia, T in degrees Rankine, A = 15.64 - 1.854 S^0.5 - (0.8742 - 0.3280 S^0.5) ln RVP,
    B = 8742 - 1042 S^0.5 - (1049 - 179.4 S^0.5) ln RVP. S: D86 slope at 10 % evaporated, (T15 - T5)/10 in degF per vol-%; motor gasoline 3.0.
    Source: EPA AP-42 chapter 7.1, figure 7.1-15. Range: RVP 2 to 20 psi (13.8 to 138 kPa), -18 to 60 degC (0 to 140 degF), no ethanol.
    Example: RVP 10 psi at 60 degF -> 5.19 psia = 35.8 kPa (the printed table has 5.2 psia).
    """
    rvp = require_range(reid_vapour_pressure_kpa, 2 * KPA_PER_PSI, 20 * KPA_PER_PSI, "Reid vapour pressure", "kPa") / KPA_PER_PSI
    rankine = require_range(temperature_degc, -18, 60, "temperature", "degC") * 1.8 + 32 + RANKINE_AT_0_DEGF
    root = np.sqrt(require_range(slope_degf_per_percent, 0.5, 10, "distillation slope", "degF per vol-%"))
    a = 15.64 - 1.854 * root - (0.8742 - 0.3280 * root) * np.log(rvp)
    b = 8742 - 1042 * root - (1049 - 179.4 * root) * np.log(rvp)
    return np.exp(a - b / rankine) * KPA_PER_PSI


PER_T10, PER_T50 = 0.20, 0.17  # degC of T(V/L=20) a degree, in the linear equation


def t_vl20_linear_degc(vapour_pressure_kpa: ArrayLike, t10_degc: ArrayLike, t50_degc: ArrayLike) -> Array:
    """Temperature at V/L 20 and 101.3 kPa of a measured hydrocarbon gasoline: 52.47 - 0.33 VP + 0.20 T10 + 0.17 T50 (degC, kPa).

    Source: ASTM D4814-18 appendix X2, linear equation. For measured values of one fuel, never for the maxima of a class: those come out
    up to 12.6 degC too high. Range taken here: VP 35 to 115 kPa, T10 25 to 80, T50 55 to 140 degC. Example: 60, 55, 100 -> 60.67.
    """
    vp = require_range(vapour_pressure_kpa, 35, 115, "vapour pressure", "kPa")
    t10 = require_range(t10_degc, 25, 80, "T10", "degC")
    t50 = require_range(t50_degc, 55, 140, "T50", "degC")
    return _linear(vp, t10, t50)


def _linear(vapour_pressure_kpa: ArrayLike, t10_degc: ArrayLike, t50_degc: ArrayLike) -> Array:
    return (
        52.47
        - 0.33 * np.asarray(vapour_pressure_kpa, dtype=float)
        + PER_T10 * np.asarray(t10_degc)
        + PER_T50 * np.asarray(t50_degc)
    )


def t_vl20_ethanol_step_degc(linear_degc: ArrayLike) -> Array:
    """D4814-18 appendix X2.27 step for 1 to 15 vol-% ethanol: 0.782 x linear + 10.57. Shown beside ours; up to 4.4 degC too high for heavy bases."""
    return 0.782 * np.asarray(linear_degc, dtype=float) + 10.57


# Where ethanol's azeotropes with C6 and C7 hydrocarbons have boiled off (ethanol/n-heptane 71 degC, CRC Handbook), the 50 % point of a blend
# says how heavy the base is, and nothing more about its front end.
PLATEAU_DEGC = 71.0


_PLATEAU_WHOLE_VOL = 8.0


def plateau_share(ethanol_vol: ArrayLike) -> Array:
    """How far ethanol's plateau has grown, 0 without ethanol to 1 from 8 vol-%: 1 - (1 - e/8)^2. Own rule: quick at first as the rise of vapour pressure
    by ethanol is (Directive 98/70/EC, Annex III), but slow enough that a tenth of a per cent never moves a limit by more than 0.3 degC."""
    return 1 - np.square(np.maximum(1 - np.asarray(ethanol_vol, dtype=float) / _PLATEAU_WHOLE_VOL, 0))


_PLATEAU_REACH_DEGC = 50.0


def t_vl20_blend_degc(vapour_pressure_kpa: ArrayLike, t10_degc: ArrayLike, t50_degc: ArrayLike, ethanol_vol: ArrayLike) -> Array:
    """The linear equation with T50 counted up to ethanol's plateau only. Own rule, for 0 to 20 vol-% ethanol, not published.

    Why: public measurements of E10 show the linear value right within 2 degC while the plateau covers the 50 % point (T50 67 to 73 degC) and
    2 to 6.6 degC too high at T50 85 to 105. Below 8 % ethanol only the plateau's share (`plateau_share`) of T50 is left out. No range is checked:
    how far the value is to be trusted is `hotfuel.fuel.routes.credit`.
    """
    beyond = np.clip(np.asarray(t50_degc, dtype=float) - PLATEAU_DEGC, 0, _PLATEAU_REACH_DEGC)
    return _linear(vapour_pressure_kpa, t10_degc, t50_degc) - PER_T50 * plateau_share(ethanol_vol) * beyond


def t_vl20_reproducibility_degc(t_vl20_degc: ArrayLike) -> Array:
    """Estimated reproducibility of the linear method: 1.9 degC at 43 degC falling to 0.8 degC at 66 degC, held outside. Source: D4814-18 X2.4.1."""
    answer: Array = np.interp(np.asarray(t_vl20_degc, dtype=float), [43, 66], [1.9, 0.8])
    return answer


def class_row(table: str, edition: str, **keys: str) -> dict[str, str]:
    """The row of a class table in one edition; InputError lists what there is.

    Example: class_row("d4814_vapour_lock", "2018", **{"class": "1"})["t_vl20_min_degc"] -> "54".
    """
    all_rows = rows(table)
    editions = sorted({row["edition"] for row in all_rows})
    if edition not in editions:
        raise InputError(f'edition "{edition}" is not in the book: choose {" or ".join(editions)}')
    for row in all_rows:
        if row["edition"] == edition and all(row[key] == value for key, value in keys.items()):
            return row
    name = keys["class"]
    allowed = list(dict.fromkeys(row["class"] for row in all_rows if row["edition"] == edition))
    raise InputError(f'class "{name}" does not exist in {table.split("_")[0].upper()} ({edition}): choose {", ".join(allowed)}')
