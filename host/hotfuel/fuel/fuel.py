"""The fuel in the tank, as the other rooms use it: one object that gives its boiling limits, their uncertainty and their source.

    Fuel.from_class("D4814", "A-1").limit_degc(101.3)                          -> 54.0
    Fuel.from_measurements(vapour_pressure_kpa=60, t10_degc=55, t50_degc=100, t90_degc=165).limit_degc(101.325)     -> 60.67

The bubble point is called boiling onset, not first bubble: dissolved air comes out earlier. Air is inside T(V/L=20) and is not added again.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from hotfuel.errors import InputError
from hotfuel.fuel import classes, density, fit, flash, onset, volatility
from hotfuel.fuel import components as c
from hotfuel.fuel.components import Array
from hotfuel.fuel.measured import measured_fuel
from hotfuel.fuel.measurements import Measurements
from hotfuel.fuel.mixture import PRESSURE_RANGE_KPA, TEMPERATURE_RANGE_DEGC, Mixture, mixture_of
from hotfuel.fuel.table import LimitTable, limit_table_of
from hotfuel.units import STANDARD_PRESSURE_KPA, Shown, expanded

# Standard uncertainty of the limit at V/L 20 and 101.3 kPa, degC, where it does not rest on figures of the fuel itself (measured fuels:
# hotfuel.fuel.routes). Own judgement.
SIGMA_DEGC = {"blended": 2.0, "blended with much ethanol": 2.5, "class": 2.0, "weathered": 2.0}
TYPICAL_DENSITY_KG_M3 = (
    740.0  # of the hydrocarbon part at 15 degC where none was measured: common practice, no source (EN 228: 720 to 775)
)
# What is assumed of a fuel that was not measured, by `Fuel.assumed`
ASSUMED = {
    "class": "the worst that its class allows",
    "ethanol": "its ethanol is not given and counts as none",
    "t10": "its T10 was not measured",
    "distillation": "its distillation is not given",
    "blend": "a blend that was worked out, not measured",
    "weathered": "its loss by evaporation was not measured",
}


@dataclass(frozen=True)
class Fuel:
    """One fuel. Make it with `from_class`, `from_measurements` or `hotfuel.fuel.fuel_named`, not by hand.

    `route` says how the limit was found, `edition` which edition of a standard it rests on, `notes` are sentences for the user. `assumed`: which of ASSUMED,
    "" where all that the limit needs was measured. `parts`: the fuels a blend was made of.
    """

    name: str
    route: str
    feed: flash.Feed
    limit_uncertainty_degc: float
    ethanol_vol: float
    notes: tuple[str, ...] = ()
    edition: str | None = None
    from_memory: bool = False
    density_15c_kg_m3: float = 0.0  # 0: not measured, a typical one is used
    other_route_degc: float | None = field(default=None)
    other_route: str = ""  # the other route, in words
    onset_uncertainty_degc: float = 0.0  # 0: the onset rests on the limit alone and has its uncertainty
    questions: tuple[str, ...] = ()
    assumed: str = ""
    parts: tuple["Fuel", ...] = ()

    def __post_init__(self) -> None:
        if not self.onset_uncertainty_degc:
            object.__setattr__(self, "onset_uncertainty_degc", float(np.hypot(self.limit_uncertainty_degc, onset.ONSET_DEGC)))
        if not self.density_15c_kg_m3:
            share = self.ethanol_vol / 100
            density_15c = TYPICAL_DENSITY_KG_M3 * (1 - share) + float(c.DENSITY_15C_KG_M3[c.ETHANOL]) * share
            object.__setattr__(self, "density_15c_kg_m3", round(density_15c, 1))

    # constructors --------------------------------------------------------------------------------------------------------------------

    @classmethod
    def from_class(
        cls, standard: str, name: str = "", edition: str | None = None, ethanol_vol: float | None = None, grade: str | None = None
    ) -> "Fuel":
        """A fuel known by its class only: the limit is the worst the class allows.

        `standard`: "D4814" with a name like "A-1" (volatility and vapour-lock class), "EN 228" with "A" to "F1" and grade "E5" or "E10",
        "D5798" with "1" to "4". D4814: the vapour-lock class's minimum T(V/L=20), never the linear equation on the class's maxima.
        `standard` may also hold the whole name, as in "D4814 A-1". Raises InputError for an unknown standard, class, grade or edition.
        """
        return _class_fuel(standard, name, edition, ethanol_vol, grade)

    @classmethod
    def from_measurements(
        cls,
        vapour_pressure_kpa: float,
        t10_degc: float | None = None,
        t50_degc: float | None = None,
        t90_degc: float | None = None,
        ethanol_vol: float | None = None,
        *,
        e70_vol: float | None = None,
        e100_vol: float | None = None,
        density_kg_m3: float | None = None,
        t_vl20_degc: float | None = None,
        t10_assumed: bool = False,
        as_printed: Iterable[str] = (),
        name: str = "measured fuel",
        shown: Shown | None = None,
    ) -> "Fuel":
        """A fuel known by measurement or data sheet: vapour pressure (DVPE), D86 temperatures at 10/50/90 % evaporated or per cent evaporated
        at 70 and 100 degC, ethanol in vol-%, density at 15 degC, and T(V/L=20) itself if it was measured (D5188).

        ethanol_vol None: not stated; counted as 0, the limit's uncertainty widened so that the pump's usual 10 vol-% lies within its 95 %, with a note.
        Give 0 for a fuel known to contain none. shown: the units of the sentences about the figures (questions, notes, errors), SI if not given.
        t10_assumed: T10 was not measured and has 4 degC of uncertainty. Contradictory figures make the limit less certain and raise a question
        (`questions`); as_printed names figures to keep all the same, e.g. ("t10",).
        Raises InputError for impossible values, each with its allowed range, for a class's maxima given as if they were measured, and for a vapour
        pressure that fits the other figures only as psi.
        """
        data = Measurements.of(
            as_printed,
            vapour_pressure_kpa=vapour_pressure_kpa,
            t10_degc=t10_degc,
            t50_degc=t50_degc,
            t90_degc=t90_degc,
            ethanol_vol=ethanol_vol,
            e70_vol=e70_vol,
            e100_vol=e100_vol,
            density_kg_m3=density_kg_m3,
            t_vl20_degc=t_vl20_degc,
            t10_assumed=bool(t10_assumed),
        )
        found = vars(measured_fuel(data, shown or Shown()))
        return cls(name=name, ethanol_vol=data.ethanol_vol, density_15c_kg_m3=data.density_kg_m3 or 0.0, **found)

    def weathered(self, lost_vol: float) -> "Fuel":
        """This fuel after `lost_vol` vol-% (0 to 20) evaporated in an open tank or drum. For display only, never applied unless asked for:
        weathering raises the limit, and only a measured vapour pressure with its date justifies that."""
        volatility.require_range(lost_vol, 0, 20, "weathering loss", "vol-%")
        left = fit.after_loss(self.feed.volume_fraction(), float(lost_vol))
        return Fuel(
            name=f"{self.name}, if weathered by {lost_vol:g} %",
            route="weathered",
            assumed="weathered",
            feed=flash.Feed.of_volumes(left, self.feed.anchor, self.feed.onset),
            limit_uncertainty_degc=float(np.hypot(self.limit_uncertainty_degc, SIGMA_DEGC["weathered"] if lost_vol else 0)),
            ethanol_vol=round(100 * float(left[c.ETHANOL]), 2),
            edition=self.edition,
            from_memory=self.from_memory,
            notes=(
                *self.notes,
                f"Calculated as if {lost_vol:g} vol-% had evaporated; measure the vapour pressure before relying on it.",
            ),
        )

    def blended(self, ethanol_vol: float) -> "Fuel":
        """This fuel with ethanol added up to `ethanol_vol` vol-% (splash blend); computed from the mixture, not from a measurement of the blend.

        Raises InputError if the fuel holds more already. Example: 60 kPa without ethanol -> about 67.8 kPa at 10 vol-%.
        """
        volatility.require_range(ethanol_vol, self.ethanol_vol, 90, "ethanol", "vol-%")
        volumes = self.feed.volume_fraction() * (100 - ethanol_vol) / (100 - self.ethanol_vol)
        volumes[c.ETHANOL] = ethanol_vol / 100
        sigma = SIGMA_DEGC["blended"] if ethanol_vol <= 20 else SIGMA_DEGC["blended with much ethanol"]
        return Fuel(
            name=f"{self.name} with {ethanol_vol:g} % ethanol",
            route="mixture of a known fuel and ethanol",
            assumed="blend",
            feed=flash.Feed.of_volumes(volumes, self.feed.anchor, self.feed.onset),
            limit_uncertainty_degc=float(np.hypot(self.limit_uncertainty_degc, sigma)),
            ethanol_vol=float(ethanol_vol),
            notes=(*self.notes, "The blend itself was not measured."),
            edition=self.edition,
            from_memory=self.from_memory,
        )

    @property
    def rests_on(self) -> str:
        """What a number that follows from this fuel rests on, "" where it was measured. Example: "an assumed fuel: the worst that its class allows"."""
        return f"an assumed fuel: {ASSUMED[self.assumed]}" if self.assumed else ""

    # properties ----------------------------------------------------------------------------------------------------------------------

    @cached_property
    def mixture(self) -> Mixture:
        """The mixture the numbers are computed from."""
        return mixture_of(self.feed)

    @cached_property
    def limit_table(self) -> LimitTable:
        """Limit, V/L and needle by interpolation, for long records: 25 to 500 kPa, V/L 0 to 40, within 0.05 degC of the flash."""
        return limit_table_of(self.mixture)

    @cached_property
    def vapour_pressure_kpa(self) -> float:
        """Vapour pressure of the mixture as a D5191 test would find it: 37.8 degC, V/L 4."""
        return float(self.mixture.pressure_kpa(37.78, 4.0))

    def true_vapour_pressure_kpa(self, temperature_degc: ArrayLike) -> Array:
        """Bubble pressure (V/L 0), kPa absolute. -40 to 200 degC."""
        return self.mixture.pressure_kpa(temperature_degc, 0.0)

    @staticmethod
    def covers(temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> np.ndarray:
        """Where the flash is valid: -40 to 200 degC and 20 to 600 kPa absolute; False for nan."""
        (cold, hot), (low, high) = TEMPERATURE_RANGE_DEGC, PRESSURE_RANGE_KPA
        degc, kpa = np.asarray(temperature_degc, dtype=float), np.asarray(pressure_kpa, dtype=float)
        return np.asarray((degc >= cold) & (degc <= hot) & (kpa >= low) & (kpa <= high))

    def bubble_point_degc(self, pressure_kpa: ArrayLike) -> Array:
        """Boiling onset at an absolute pressure of 20 to 600 kPa."""
        return self.mixture.temperature_degc(pressure_kpa, 0.0)

    def vapour_liquid_ratio(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """V/L: vapour volume over the volume the fuel has as liquid at 0 degC; 0 below boiling onset."""
        return self.mixture.vapour_liquid_ratio(temperature_degc, pressure_kpa)

    def limit_degc(self, pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike = 20.0) -> Array:
        """Temperature at which V/L is reached at an absolute pressure; the trade's limit is V/L 20."""
        return self.mixture.temperature_degc(pressure_kpa, vapour_liquid_ratio)

    def enthalpy_kj_per_kg(self, temperature_degc: ArrayLike, pressure_kpa: ArrayLike) -> Array:
        """Enthalpy of liquid and vapour together against liquid at 25 degC."""
        return self.mixture.enthalpy_kj_per_kg(temperature_degc, pressure_kpa)

    def isenthalpic_vapour_liquid_ratio(
        self, temperature_degc: ArrayLike, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike
    ) -> Array:
        """V/L behind the needle: fuel at line temperature and pressure falls to bowl pressure without heat from outside."""
        enthalpy = self.mixture.enthalpy_kj_per_kg(temperature_degc, line_pressure_kpa)
        behind = self.mixture.temperature_at_enthalpy_degc(enthalpy, bowl_pressure_kpa)
        return self.mixture.vapour_liquid_ratio(behind, bowl_pressure_kpa)

    def needle_limit_degc(
        self, line_pressure_kpa: ArrayLike, bowl_pressure_kpa: ArrayLike, vapour_liquid_ratio: ArrayLike = 20.0
    ) -> Array:
        """Line temperature at which the fuel has this V/L behind the needle; inverse of `isenthalpic_vapour_liquid_ratio`."""
        behind = self.limit_degc(bowl_pressure_kpa, vapour_liquid_ratio)
        enthalpy = self.mixture.enthalpy_kj_per_kg(behind, bowl_pressure_kpa)
        return self.mixture.temperature_at_enthalpy_degc(enthalpy, line_pressure_kpa)

    def density_kg_m3(self, temperature_degc: ArrayLike) -> Array:
        """Density of the liquid, table 54B of D1250 (written for gasoline; ethanol expands 10 to 15 % less), -40 to 95 degC."""
        return density.density_at_kg_m3(self.density_15c_kg_m3, temperature_degc)

    def heat_capacity_kj_per_kg_k(self, temperature_degc: ArrayLike) -> Array:
        """Heat capacity of the liquid; about 2.1 for gasoline (published figures run from 2.0 to 2.4)."""
        return self.mixture.heat_capacity_kj_per_kg_k(temperature_degc)

    def latent_heat_kj_per_kg(self, temperature_degc: ArrayLike = 25.0) -> Array:
        """Latent heat of the whole fuel; about 350 for gasoline."""
        return self.mixture.latent_heat_kj_per_kg(temperature_degc)

    def uncertainty_degc(self, vapour_liquid_ratio: float = 20.0) -> float:
        """Standard uncertainty at 101.3 kPa of the temperature at which V/L is reached: the onset's up to V/L 4, the limit's from 20, between them
        interpolated like `flash.volatility_shift`."""
        return _uncertainty_degc(vapour_liquid_ratio, self.onset_uncertainty_degc, self.limit_uncertainty_degc)

    def describe(self, shown: Shown | None = None) -> list[str]:
        """Sentences for the user: what the fuel is, which route and edition, from memory or not, how certain, what is not covered.

        shown: the user's units, SI if not given; what a standard or data sheet states stays in its own units.
        """
        shown = shown or Shown()
        limit = float(self.limit_degc(STANDARD_PRESSURE_KPA))
        sigma = float(expanded(self.limit_uncertainty_degc))
        at = f"{shown.text(limit, 'temperature')} and {shown.text(STANDARD_PRESSURE_KPA, 'pressure')}"
        widened = ", with the doubt about its figures" if self.questions else ""
        sentences = [
            f"{self.name}: at {at} (sea level) its vapour takes up 20 times the volume of its liquid (V/L 20), give or take "
            f"{shown.text(sigma, 'temperature difference')} (95 %{widened}); {self.route}."
        ]
        onset_degc = shown.text(float(self.bubble_point_degc(STANDARD_PRESSURE_KPA)), "temperature")
        doubt = shown.text(float(expanded(self.onset_uncertainty_degc)), "temperature difference")
        sentences.append(f"Boiling onset at {onset_degc}, uncertainty ±{doubt} (95 %).")
        sentences += (*self.questions, *self.notes)
        if self.edition:
            sentences.append(f"Standard's edition: {self.edition}; verify the edition that applies to you.")
        if self.from_memory:
            sentences.append("Part of these class values is from memory, not from the standard's text.")
        if self.other_route_degc is not None:
            lower = self.other_route_degc < limit
            sentences.append(
                f"Another route ({self.other_route or 'not the one above'}) gives {shown.text(self.other_route_degc, 'temperature')} for the same "
                f"point; the lower of the two, {'this' if lower else 'the limit above'}, is the careful one."
            )
        sentences.append("Not covered: methanol, ethers, nitro compounds and water in the fuel.")
        return sentences


@lru_cache(maxsize=64)
def _class_fuel(standard: str, name: str, edition: str | None, ethanol_vol: float | None, grade: str | None) -> Fuel:
    found = classes.find(standard, name, edition, ethanol_vol, grade)
    try:
        volumes = fit.composition(found.data)
    except InputError:
        raise InputError(_no_such_class(found)) from None
    minimum = found.t_vl20_degc
    feed = flash.Feed.of_volumes(volumes) if minimum is None else fit.anchored(volumes, minimum)
    pressure = float(flash.pressure_kpa(feed, np.array([fit.TEST_K]), np.array([fit.TEST_VAPOUR_LIQUID_RATIO]))[0])
    feed = onset.with_published_onset(feed, pressure, found.data.ethanol_vol)
    return Fuel(
        found.name,
        found.route,
        feed,
        SIGMA_DEGC["class"],
        found.data.ethanol_vol,
        found.notes,
        found.edition,
        found.from_memory,
        assumed="class",
    )


def _no_such_class(found: classes.ClassFuel) -> str:
    """The sentence about a class whose figures no fuel has together, with those of its volatility class that some fuel has."""
    made, ethanol = [], found.data.ethanol_vol
    volatility_class = found.name.rpartition("-")[0]
    for lock in "123456" if found.name.startswith("D4814") else "":
        try:
            fit.composition(classes.find(f"{volatility_class}-{lock}", "", None, ethanol, None).data)
        except InputError:
            continue
        made.append(f"{volatility_class}-{lock}")
    choose = f"choose from {', '.join(made)}, or another letter" if made else "check the class and its ethanol"
    return f"no fuel with {ethanol:g} % ethanol is of class {found.name}: {choose}"


def require_covered(**content: float | None) -> None:
    """InputError if the fuel contains something these formulas do not cover, e.g. require_covered(methanol_vol=15)."""
    for what, amount in content.items():
        if amount:
            raise InputError(
                f"fuel with {amount:g} % of {what.replace('_vol', '')} is not covered: the formulas hold for hydrocarbons and ethanol only; "
                "give a measured T(V/L=20) of this fuel or leave the limit out"
            )


@lru_cache(maxsize=64)  # asked again at every reading of a live recording
def _uncertainty_degc(vapour_liquid_ratio: float, onset_degc: float, limit_degc: float) -> float:
    share = float(np.clip(flash.volatility_shift(np.asarray(vapour_liquid_ratio, dtype=float)), 0, 1))
    return float(np.sqrt((1 - share) * onset_degc**2 + share * limit_degc**2))
