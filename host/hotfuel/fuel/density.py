"""Density and volume of gasoline against temperature: API MPMS 11.1 / ASTM D1250, table 54B (15 degC).

Constants are data (`data/d1250_constants.csv`). A table written for 60 degF uses constants 1.8 times smaller with degF; mixing the two is
a known trap.
"""

import numpy as np
from numpy.typing import ArrayLike

from hotfuel.errors import InputError
from hotfuel.fuel.components import Array, rows
from hotfuel.fuel.volatility import require_range


def thermal_expansion(density_kg_m3: ArrayLike, table: str = "54B") -> Array:
    """alpha = K0/rho^2 + K1/rho + A of the table's band, per degC for "54B" (density at 15 degC), per degF for "6B" (density at 60 degF).

    Range 653 to 1075 kg/m3 (54B) and 610.6 to 1163.5 (6B). Source: API MPMS 11.1 / ASTM D1250. Example: 745 kg/m3, 54B -> 0.001213 per degC.
    """
    bands = [row for row in rows("d1250_constants") if row["table"] == table]
    if not bands:
        raise InputError(f'"{table}" is not a known volume correction table: choose 54B or 6B')
    edges = np.array([float(row["density_min_kg_m3"]) for row in bands] + [float(bands[-1]["density_max_kg_m3"])])
    density = require_range(density_kg_m3, edges[0], edges[-1], "density", "kg/m3")
    band = np.clip(np.searchsorted(edges, density, side="right") - 1, 0, len(bands) - 1)
    k0, k1, a = (np.array([float(row[name]) for row in bands])[band] for name in ("k0", "k1", "a"))
    answer: Array = k0 / density**2 + k1 / density + a
    return answer


def volume_correction(density_kg_m3: ArrayLike, warmer_by: ArrayLike, table: str = "54B") -> Array:
    """Volume at the reference temperature over volume `warmer_by` degrees above it: exp(-a d (1 + 0.8 a d)).

    Degrees and density in the table's units ("54B": degC over 15 degC; "6B": degF over 60 degF). Example: 750 kg/m3 at 40 degC -> 0.96972.
    """
    warmer = np.asarray(warmer_by, dtype=float) * thermal_expansion(density_kg_m3, table)
    return np.exp(-warmer * (1 + 0.8 * warmer))


def density_at_kg_m3(density_15c_kg_m3: ArrayLike, temperature_degc: ArrayLike) -> Array:
    """Density of liquid fuel at a temperature from its density at 15 degC, by table 54B, -40 to 95 degC.

    Example: 740 kg/m3 at 15 degC -> 717.1 at 40 degC.
    """
    warmer = require_range(temperature_degc, -40, 95, "fuel temperature", "degC") - 15
    return np.asarray(density_15c_kg_m3, dtype=float) * volume_correction(density_15c_kg_m3, warmer)
