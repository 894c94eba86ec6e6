"""Boiling onset against the published true vapour pressures: EPA AP-42 chapter 7.1 (`volatility.true_vapour_pressure_kpa`).

The mixture's bubble point is set to AP-42's at about 92 kPa and keeps its own slope from there, which differs from AP-42's by less than 0.5 degC
from 75 to 101 kPa without ethanol and by less than 1 with 10 %.
"""

from dataclasses import replace

import numpy as np

from hotfuel.fuel import fit, flash, volatility
from hotfuel.units import ZERO_DEGC_IN_K

# Standard uncertainty of the onset, degC: AP-42's equation differs from its own table by up to 2.4 % (0.7 degC), its slope is a typical one (0.3), and
# vapour pressure is measured to 0.7 kPa (0.3). AP-42 does not cover ethanol; there only the mixture's slope is available: own judgement.
ONSET_DEGC, ONSET_ETHANOL_DEGC = 0.85, 1.5
_AT_KPA, _HOTTEST_DEGC = 92.0, 60.0  # AP-42's chart ends at 60 degC
_LEAST_KPA, _MOST_KPA = 2 * volatility.KPA_PER_PSI, 20 * volatility.KPA_PER_PSI  # its range of Reid vapour pressure
_MOST = 0.08  # of ln P, about 2.5 degC


def with_published_onset(feed: flash.Feed, vapour_pressure_kpa: float, ethanol_vol: float) -> flash.Feed:
    """The feed with its bubble point set by AP-42; fading out from 20 to 50 vol-% ethanol."""
    reid = float(np.clip(vapour_pressure_kpa, _LEAST_KPA, _MOST_KPA))
    degc = np.linspace(-18, _HOTTEST_DEGC, 157)
    published = volatility.true_vapour_pressure_kpa(reid, degc)
    at = float(np.interp(_AT_KPA, published, degc))
    pressure = float(volatility.true_vapour_pressure_kpa(reid, at)) * vapour_pressure_kpa / reid
    kelvin, nothing = np.array([at + ZERO_DEGC_IN_K]), np.zeros(1)
    plain = replace(feed, onset=0.0)
    own = float(flash.pressure_kpa(plain, kelvin, nothing)[0])
    # a downward correction flattens the start of boiling: at most four fifths of its slope, else pressure would rise with vapour
    least = 0.8 * float((np.diff(fit.log_pressures(plain)[:, :5], axis=1) / -np.diff(flash.onset_shift(np.arange(5.0)))).max())
    share = float(np.clip((50 - ethanol_vol) / 30, 0, 1))
    return replace(feed, onset=share * float(np.clip(np.log(pressure / own), least, _MOST)))
