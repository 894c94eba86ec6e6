"""The components a gasoline is modelled with, and their pure-component properties, read from `data/components.csv`.

Ten hydrocarbons from n-butane to n-decane stand for the thousands in a pump fuel, ethanol is the eleventh. Vapour pressures are Wagner
equations, valid from below -40 degC to the critical point: an Antoine range of n-butane ends at 19 degC, inside the range a car sees.
"""

import csv
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018


def rows(name: str) -> list[dict[str, str]]:
    """The rows of `data/<name>.csv`, as text."""
    with resources.files("hotfuel.fuel").joinpath("data").joinpath(f"{name}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


COMPONENTS = rows("components")


def _column(name: str) -> Array:
    return np.array([float(row[name]) for row in COMPONENTS])


NAMES = tuple(row["name"] for row in COMPONENTS)
COUNT = len(NAMES)
ETHANOL = NAMES.index("ethanol")
MOLAR_MASS_KG_MOL = _column("molar_mass_g_mol") / 1000
CRITICAL_K = _column("critical_k")
CRITICAL_KPA = _column("critical_kpa")
DENSITY_0C_KG_M3 = _column("density_0c_kg_m3")
DENSITY_15C_KG_M3 = _column("density_15c_kg_m3")
VOLUME_0C_M3_MOL = MOLAR_MASS_KG_MOL / DENSITY_0C_KG_M3
VOLUME_15C_M3_MOL = MOLAR_MASS_KG_MOL / DENSITY_15C_KG_M3
_WAGNER = np.array([[float(row[f"wagner_{letter}"]) for letter in "abcd"] for row in COMPONENTS])
_HEAT_CAPACITY_25C = _column("liquid_heat_capacity_25c_j_mol_k")
_HEAT_CAPACITY_SLOPE = _column("heat_capacity_slope_j_mol_k2")
_LATENT_HEAT_25C = 1000 * _column("latent_heat_25c_kj_mol")
_LATENT_HEAT_EXPONENT = _column("latent_heat_exponent")
_REFERENCE_K = 298.15
_LOG_CRITICAL = np.log(CRITICAL_KPA)
_FEW = 500  # up to this many states all components at once are quicker; above it one at a time, so that the working arrays stay in the cache


def log_vapour_pressure(temperature_k: Array, which: Indices | slice = slice(None)) -> Array:
    """ln(P/kPa) of the pure components, shape (components, *temperature shape).

    Wagner form 2.5-5: ln(P/Pc) = (a t + b t^1.5 + c t^2.5 + d t^5) Tc/T, t = 1 - T/Tc. Coefficients: VDI Heat Atlas (PPDS).
    Above a component's critical temperature t is held at 0 in the fractional powers; no state of a car's fuel reaches it.
    Example: n-butane at 310.93 K -> ln 355.
    """
    if temperature_k.size <= _FEW:
        t_shape = (-1,) + (1,) * temperature_k.ndim
        critical_k, log_critical = CRITICAL_K[which].reshape(t_shape), _LOG_CRITICAL[which].reshape(t_shape)
        return _wagner(temperature_k, _WAGNER[which].T.reshape(4, *t_shape), critical_k, log_critical)
    indices = np.arange(COUNT)[which]
    found = np.empty((len(indices), *temperature_k.shape))
    for i, into in zip(indices, found, strict=True):
        into[...] = _wagner(temperature_k, _WAGNER[i], CRITICAL_K[i], _LOG_CRITICAL[i])
    return found


def _wagner(temperature_k: Array, coefficients: Array, critical_k: Array, log_critical: Array) -> Array:
    a, b, c, d = coefficients
    tr = temperature_k / critical_k
    tau = np.maximum(1 - tr, 0)
    root = np.sqrt(tau)
    square = tau * tau
    answer: Array = log_critical + tau * (a + root * (b + tau * c) + square * square * d) / tr
    return answer


def log_vapour_pressure_and_slope(temperature_k: Array, which: Indices) -> tuple[Array, Array]:
    """`log_vapour_pressure` and its derivative d ln P / dT in 1/K, both (components, states)."""
    a, b, c, d, critical_k, log_critical = _wagner_of(tuple(which.tolist()))
    tr = temperature_k / critical_k
    tau = np.maximum(1 - tr, 0)
    root = np.sqrt(tau)
    square = tau * tau
    last = square * square * d
    middle = tau * c
    value = tau * (a + root * (b + middle) + last) / tr
    gradient = a + root * (1.5 * b + 2.5 * middle) + 5 * last
    return log_critical + value, -(gradient + value) / temperature_k


@lru_cache(maxsize=64)
def _wagner_of(which: tuple[int, ...]) -> tuple[Array, ...]:
    """Coefficients a to d, critical temperature and ln of the critical pressure, (components, 1) each."""
    columns = (*_WAGNER[list(which)].T, CRITICAL_K[list(which)], _LOG_CRITICAL[list(which)])
    return tuple(column[:, None] for column in columns)


def liquid_enthalpy_j_mol(temperature_k: Array, which: Indices | slice = slice(None)) -> Array:
    """Enthalpy of the pure liquids against liquid at 25 degC, J/mol: heat capacity linear in temperature, 0 to 100 degC."""
    t_shape = (-1,) + (1,) * temperature_k.ndim
    warm = temperature_k - _REFERENCE_K
    return warm * (_HEAT_CAPACITY_25C[which].reshape(t_shape) + 0.5 * warm * _HEAT_CAPACITY_SLOPE[which].reshape(t_shape))


def liquid_heat_capacity_j_mol_k(temperature_k: Array, which: Indices | slice = slice(None)) -> Array:
    """Heat capacity of the pure liquids, J/(mol K)."""
    t_shape = (-1,) + (1,) * temperature_k.ndim
    return _HEAT_CAPACITY_25C[which].reshape(t_shape) + (temperature_k - _REFERENCE_K) * _HEAT_CAPACITY_SLOPE[which].reshape(
        t_shape
    )


def latent_heat_j_mol(temperature_k: Array, which: Indices | slice = slice(None)) -> Array:
    """Latent heat of the pure components, J/mol, Watson's rule from the value at 25 degC, the exponent fitted from 0 to 110 degC (usual 0.38)."""
    t_shape = (-1,) + (1,) * temperature_k.ndim
    critical = CRITICAL_K[which].reshape(t_shape)
    # constant close to the critical point (butane: above 139 degC), where the rule falls so steeply that enthalpy would not rise with temperature
    ratio = np.maximum((critical - temperature_k) / (critical - _REFERENCE_K), 0.1)
    return _LATENT_HEAT_25C[which].reshape(t_shape) * ratio ** _LATENT_HEAT_EXPONENT[which].reshape(t_shape)
