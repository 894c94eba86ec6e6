"""From the fuel's temperature to what the amplifier sees: the probe's lag and placement error, its wire, the terminals, noise.

The thermocouple's loop gives E(probe) - E(terminals). The chip measures its own temperature, not the terminals': the gradient between the two,
which grows while the box warms up, enters every reading unseen, as on a real board.
"""

from dataclasses import dataclass

import numpy as np

from hotfuel.simulator.drives import STEP_S, Profile, first_order, wander
from hotfuel.simulator.scenarios import FittedProbe
from hotfuel.temperature.accuracy import placement_share
from hotfuel.temperature.thermocouple import emf_mv

_BORE_M = 0.008
_BOX_WARMS_S = 900.0
_BOX_RISE_DEGC = 9.0  # cabin and electronics, over ambient
_CHIP_OFFSET_LIMIT_DEGC = 0.5  # inside the 0.7 degC of the MAX31856 (datasheet 19-7534)
_GRADIENT_S = 60.0  # terminals follow the box so much later than the chips
_NOISE_UV = 0.6
_IGNITION_NOISE_UV = 1.2
_TURBULENCE_DEGC = 0.08
# What the fitting, or for a clamp the air about it, takes its temperature from.
_FITTING = {
    "tank": "ambient_degc",
    "pump": "pump_body_degc",
    "pump_outlet": "pump_body_degc",
    "carb_inlet": "carburettor_degc",
    "bowl": "carburettor_degc",
}
_IN_FUEL = tuple(_FITTING)


@dataclass(frozen=True)
class Terminals:
    """The box over time: what the terminals have and what each chip says of itself, (n,) and (n, channels)."""

    terminals_degc: np.ndarray
    chip_degc: np.ndarray


def terminals(ambient_degc: np.ndarray, channels: int, rng: np.random.Generator) -> Terminals:
    """The box in the cabin warms up after the start, and with the sun."""
    time_s = np.arange(len(ambient_degc)) * STEP_S
    box = ambient_degc + _BOX_RISE_DEGC * -np.expm1(-time_s / _BOX_WARMS_S) + 0.5 * wander(rng, len(time_s), 300.0)
    offsets = rng.uniform(-_CHIP_OFFSET_LIMIT_DEGC, _CHIP_OFFSET_LIMIT_DEGC, channels)
    return Terminals(_lagged(box, _GRADIENT_S), box[:, None] + offsets)


def junction_degc(fitted: FittedProbe, truth: dict[str, np.ndarray], rng: np.random.Generator) -> np.ndarray:
    """Temperature of the measuring junction, (n,): fuel and fitting mixed by the share that reaches it, then the lag."""
    place = truth[f"{fitted.where}_degc"]
    probe = fitted.probe
    if fitted.where in _IN_FUEL:
        clamped = probe.mount.startswith("clamp")
        other = truth[
            "bonnet_degc" if clamped and fitted.where != "tank" else "ambient_degc" if clamped else _FITTING[fitted.where]
        ]
        flow = truth["flow_l_h"]
        share = np.full(len(place), 0.6) if probe.mount == "clamp_rubber" else placement_share(probe, flow, _BORE_M)
        place = place + share * (other - place) + _TURBULENCE_DEGC * wander(rng, len(place), 1.0) * np.minimum(flow / 20.0, 1.0)
    return _lagged(place, probe.lag_s)


def loop_emf_mv(junctions_degc: np.ndarray, terminals_degc: np.ndarray, errors_degc: np.ndarray) -> np.ndarray:
    """E(junction, its wire's error on it) - E(terminals), mV, (n, channels). Source: NIST Monograph 175, type K.

    A wire's error grows with the temperature along it: here in full at 60 degC over the terminals.
    """
    along = np.clip((junctions_degc - terminals_degc[:, None]) / 60.0, -1.0, 2.0)
    return emf_mv(junctions_degc + errors_degc * along) - emf_mv(terminals_degc)[:, None]


def noise_mv(profile_rpm: np.ndarray, channels: int, rng: np.random.Generator) -> np.ndarray:
    """White noise on the loop, more with the ignition working, (n, channels) for rpm (n,)."""
    level = _NOISE_UV + _IGNITION_NOISE_UV * np.minimum(profile_rpm / 3000.0, 1.0)
    return rng.standard_normal((len(profile_rpm), channels)) * level[:, None] / 1000.0


def battery_v(profile: Profile) -> np.ndarray:
    """Supply of the car, (n,): 12.5 V standing, 14.1 V charging, down to 8.5 V when the starter engages and 10 V while it turns."""
    started = np.flatnonzero(profile.cranking & ~np.concatenate([[False], profile.cranking[:-1]]))
    volts = np.where(profile.running, np.where(profile.cranking, 10.0, 14.1), 12.5)
    volts[started] = 8.5
    return volts


def _lagged(values: np.ndarray, lag_s: float) -> np.ndarray:
    """First-order lag, starting settled."""
    if lag_s <= 0:
        return values
    keep = np.exp(-STEP_S / lag_s)
    return first_order((1 - keep) * values, keep, float(values[0]))
