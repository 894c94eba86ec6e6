"""The error budget of a temperature, from probe to number, as standard uncertainties in degC.

A stated limit +-a becomes a standard uncertainty a / sqrt(3) (GUM, JCGM 100:2008, 4.3.7, rectangular distribution); contributions add as the root of
the sum of squares. `common` marks contributions shared by all channels of a box: averaging channels does not reduce them.
"""

import csv
import functools
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources

import numpy as np
import numpy.typing as npt

from hotfuel.car import Place, Probe
from hotfuel.errors import InputError
from hotfuel.temperature.thermocouple import seebeck_mv_per_degc

# Assumptions, common practice, no source: difference between the air around a clamp and the fuel (standard deviation, degC), and between the terminals
# and the chip's sensor. Those of fittings are in hotfuel.places.ROLES.
CLAMP_AIR_DEGC = 30.0
GRADIENT_LIMIT_DEGC = 0.5
COPPER_SPAN_DEGC = 20.0

# Gasoline as in the published ranges (density EN 228; the rest handbook values), stainless sheath with its filling.
_DENSITY_KG_M3, _VISCOSITY_PA_S, _CP_J_KG_K, _CONDUCTIVITY_W_M_K = 740.0, 0.0005, 2100.0, 0.12
_SHEATH_W_M_K = 16.0
_PRANDTL = _CP_J_KG_K * _VISCOSITY_PA_S / _CONDUCTIVITY_W_M_K
# Steel 3.9, pressed magnesia 2.5 to 3. Pressed magnesia conducts 2 to 3 W/(m K) (both from memory); the value in that range that makers' response
# times of insulated junctions in water fit best (tests/authority/test_against_probe_response.py).
_SHEATH_J_M3_K, _FILLING_W_M_K = 3.5e6, 2.2
_AXIAL_DEPTH_M = 0.030  # a probe along the run of a tee is at least this deep
_AIR_W_M2_K = {"clamp_metal": 30.0, "clamp_insulated": 3.5}  # outside film: bare in a fan's draught, and well insulated


@dataclass(frozen=True)
class Fluid:
    """Properties of the fluid around a probe."""

    density_kg_m3: float
    viscosity_pa_s: float
    cp_j_kg_k: float
    conductivity_w_m_k: float

    def film_w_m2_k(self, sheath_m: npt.ArrayLike, speed_m_s: npt.ArrayLike) -> np.ndarray:
        """Film coefficient on a cylinder in cross flow: Churchill and Bernstein, J. Heat Transfer 99 (1977) 300."""
        sheath = np.asarray(sheath_m, dtype=float)
        reynolds = self.density_kg_m3 * np.asarray(speed_m_s, dtype=float) * sheath / self.viscosity_pa_s
        prandtl = self.cp_j_kg_k * self.viscosity_pa_s / self.conductivity_w_m_k
        shape = (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
        nusselt = 0.3 + 0.62 * np.sqrt(reynolds) * prandtl ** (1 / 3) / shape * (1 + (reynolds / 282000) ** 0.625) ** 0.8
        return np.asarray(nusselt * self.conductivity_w_m_k / sheath)


GASOLINE = Fluid(_DENSITY_KG_M3, _VISCOSITY_PA_S, _CP_J_KG_K, _CONDUCTIVITY_W_M_K)


@dataclass(frozen=True)
class Contribution:
    """One row of the budget. uncertainty_degc: standard uncertainty, a number or an array (one value per flow)."""

    name: str
    uncertainty_degc: npt.ArrayLike
    common: bool
    source: str


@functools.cache
def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files("hotfuel.temperature").joinpath(f"data/{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def tolerance_degc(grade: str, temperature_degc: float) -> tuple[float, str]:
    """(limit in degC, source) of a thermocouple grade at a temperature: the greater of a fixed and a proportional tolerance.

    Example: tolerance_degc("E230 standard", 60.0) -> 2.2. Raises InputError for an unknown grade or a temperature outside the grade's ranges.
    """
    rows = [row for row in _rows("tolerances") if row["grade"] == grade]
    for row in rows:
        if float(row["t_min_degc"]) <= temperature_degc <= float(row["t_max_degc"]):
            return max(float(row["limit_degc"]), float(row["limit_share"]) * abs(temperature_degc)), row["source"]
    ranges = ", ".join(f"{row['t_min_degc']} to {row['t_max_degc']} °C" for row in rows)
    grades = ", ".join(dict.fromkeys(row["grade"] for row in _rows("tolerances")))
    raise InputError(f"grade {grade} says nothing at {temperature_degc:g} °C: allowed are {ranges or grades}")


def placement_share(probe: Probe, flow_l_h: npt.ArrayLike, bore_m: float) -> np.ndarray:
    """How much of (fitting - fuel), or for a clamp (air - fuel), adds to the reading: 0 to 1; any shape of flow, nan flow gives nan.

    Stem: 1 / cosh(m L), m = sqrt(4 h / (k D)), the fin with an adiabatic tip (any heat-transfer textbook), h from Churchill and Bernstein, J. Heat
    Transfer 99 (1977) 300, for flow across a cylinder. Clamp: outside film over outside plus inside film; inside Nu = 3.66 laminar,
    0.023 Re^0.8 Pr^0.3 above Re 2300 (Dittus-Boelter, cooling). Example: 1.6 mm sheath, 10 mm deep, 4 L/h in 3/8 in: 0.10.
    """
    speed = np.maximum(np.asarray(flow_l_h, dtype=float), 0.1) / 3.6e6 / (np.pi / 4 * bore_m**2)
    if probe.mount in _AIR_W_M2_K:
        reynolds = _DENSITY_KG_M3 * speed * bore_m / _VISCOSITY_PA_S
        inside = np.where(reynolds < 2300, 3.66, 0.023 * reynolds**0.8 * _PRANDTL**0.3) * _CONDUCTIVITY_W_M_K / bore_m
        outside = _AIR_W_M2_K[probe.mount]
        return np.where(np.isnan(speed), np.nan, outside / (outside + inside))
    if probe.mount == "clamp_rubber":
        return np.full(np.shape(speed), np.nan)
    depth = max(probe.depth_m, _AXIAL_DEPTH_M) if probe.mount == "axial" else probe.depth_m
    film = GASOLINE.film_w_m2_k(probe.sheath_m, speed)
    return np.asarray(1 / np.cosh(np.minimum(np.sqrt(4 * film / (_SHEATH_W_M_K * probe.sheath_m)) * depth, 50.0)))


def probe_lag_s(sheath_m: npt.ArrayLike, speed_m_s: npt.ArrayLike, insulated: bool = True, fluid: Fluid = GASOLINE) -> np.ndarray:
    """Time constant of a sheathed probe in cross flow, s: its lag behind a steady ramp, in degC per degC/s.

    rho c D / (4 h) for the film, and with an insulated junction rho c D^2 / (16 k) for conduction from the sheath to the middle: the centre of a long
    cylinder lags its surface by R^2 / (4 a) on a ramp, a = k / (rho c) (Carslaw and Jaeger, Conduction of Heat in Solids, 7.7, from memory). A junction
    welded to the sheath has the film's lag only. Example: 3.2 mm, 60 L/h in 3/8 in (0.235 m/s): 2.8 s.
    """
    sheath = np.asarray(sheath_m, dtype=float)
    film = _SHEATH_J_M3_K * sheath / (4 * fluid.film_w_m2_k(sheath, speed_m_s))
    return np.asarray(film + (_SHEATH_J_M3_K * sheath**2 / (16 * _FILLING_W_M_K) if insulated else 0.0))


def budget(
    place: Place,
    *,
    chip: str = "MAX31856",
    gain: int = 32,
    averages: int = 1,
    temperature_degc: float = 60.0,
    flow_l_h: npt.ArrayLike = 4.0,
    bore_m: float = 0.008,
    calibration_uncertainty_degc: float | None = None,
) -> list[Contribution]:
    """The error budget of one channel at one temperature and flow (a number or an array).

    chip and gain as in data/amplifiers.csv. A calibration replaces the errors it removes (thermocouple, amplifier offset and scale, extension wire) by its
    own uncertainty; the cold junction's error changes with the box's temperature, so it stays. Extension wire counts in full however little its ends
    differ in temperature: the standards (ASTM E230, IEC 60584-3; data/extension.csv) allow a fixed voltage over the wire's whole range and do not scale it
    down for small differences. Raises InputError for an unknown chip and gain.
    """
    found = [row for row in _rows("amplifiers") if row["chip"] == chip and int(row["gain"]) == gain]
    if not found:
        known = ", ".join(f"{row['chip']} with gain {row['gain']}" for row in _rows("amplifiers"))
        raise InputError(f"no error figures for chip {chip} with gain {gain}: known are {known}")
    amplifier = found[0]
    uv_per_degc = 1000 * float(seebeck_mv_per_degc(temperature_degc))
    rows = []

    def limit(name: str, limit_degc: npt.ArrayLike, common: bool, source: str) -> None:
        rows.append(Contribution(name, np.asarray(limit_degc) / np.sqrt(3), common, source))

    if calibration_uncertainty_degc is None:
        tolerance, source = tolerance_degc(place.probe.tolerance, temperature_degc)
        limit("thermocouple wire", tolerance, False, source)
        limit("amplifier offset", float(amplifier["offset_uv"]) / uv_per_degc, False, amplifier["source"])
        limit(
            "amplifier scale",
            float(amplifier["full_scale_share"]) * float(amplifier["full_scale_uv"]) / uv_per_degc,
            False,
            amplifier["source"],
        )
        for cable in (row for row in _rows("extension") if row["wire"] == place.probe.extension_wire):
            limit("extension wire", float(cable["limit_degc"]), False, cable["source"])
        if place.probe.extension_wire == "copper":
            limit("extension wire of copper", COPPER_SPAN_DEGC, False, "assumption: the splice up to 20 degC from the box")
    else:
        rows.append(Contribution("calibration", calibration_uncertainty_degc, False, "calibration file"))
    rows.append(
        Contribution(
            "amplifier noise", float(amplifier["noise_uv_rms"]) / uv_per_degc / np.sqrt(averages), False, amplifier["source"]
        )
    )
    limit("cold junction", float(amplifier["cold_limit_degc"]), False, amplifier["source"])
    limit("terminals against the chip's sensor", GRADIENT_LIMIT_DEGC, True, "assumption, common practice, no source")
    difference = CLAMP_AIR_DEGC if place.probe.mount in _AIR_W_M2_K else place.kind.fitting_degc
    share = placement_share(place.probe, flow_l_h, bore_m)
    rows.append(
        Contribution(
            "placement", share * difference, False, "fin equation, Churchill and Bernstein 1977; temperature difference assumed"
        )
    )
    return rows


def root_sum_square(contributions: Iterable[Contribution], common: bool | None = None) -> np.ndarray:
    """Combined standard uncertainty of the rows, degC; `common` True or False: only of the rows with that flag."""
    chosen = [row.uncertainty_degc for row in contributions if common is None or row.common == common]
    return np.sqrt(sum((np.asarray(value) ** 2 for value in chosen), start=np.zeros(())))
