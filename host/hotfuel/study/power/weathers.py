"""Which correction each pull gets: by the weather in its own file, or by the weather given for its variant; never both."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import correction
from hotfuel.study.power.pulls import Pull

LARGEST_FACTOR_DIFFERENCE = 0.03
SAME_WEATHER = 0.001  # factors this close make no visible difference to a gain

# Kinds of note.
CORRECTED = "corrected"  # here, by the weather given or in the files
OUTSIDE = "outside"  # the weather is outside the range of the correction
STATED, MARKED = "stated", "marked"  # corrected already, as the user or as the files say
SAME = "same"  # the weather of all pulls
PARTLY, NONE = "partly", "none"  # how much of the weather is known


@dataclass(frozen=True)
class WeatherNote:
    """What the weather did to the figures: one of the kinds above. standard: of a correction. weather_given: by the user rather than in the files."""

    kind: str
    standard: str = ""
    weather_given: bool = False

    @property
    def is_condition(self) -> bool:
        """Whether it only states a condition and weakens nothing."""
        return self.kind in (CORRECTED, SAME)


@dataclass(frozen=True)
class Factors:
    """One factor a pull {variant: (pulls,)}, ones where nothing is corrected; whether anything is; whether absolute figures count; notes."""

    of: dict[str, np.ndarray]
    corrected: bool
    absolute_figures_count: bool
    cautions: tuple[WeatherNote, ...]

    def mean(self, name: str) -> float | None:
        """A variant's mean factor; None where nothing is corrected."""
        return float(self.of[name].mean()) if self.corrected else None


def factors(
    groups: Mapping[str, Sequence[Pull]],
    given: Mapping[str, correction.Weather] | None,
    standard: str,
    already_corrected: bool | None,
) -> Factors:
    """The factors of all pulls.

    Raises InputError, one sentence: corrected figures beside others, figures that may be corrected already, weather for some variants only, sides whose
    factors differ by more than 3 %.
    """
    every = [pull for pulls in groups.values() for pull in pulls]
    marked = [pull.name for pull in every if pull.corrected]
    unmarked = [pull.name for pull in every if not pull.corrected]
    if marked and unmarked and already_corrected is None:
        raise InputError(
            f"{marked[0]} states that its figures are corrected already, and {unmarked[0]} does not: say whether all are or none is (--corrected or "
            "--uncorrected), and compare like with like"
        )
    if already_corrected or (marked and already_corrected is None and given is None):
        return _none(groups, WeatherNote(STATED if already_corrected else MARKED, weather_given=bool(given)))
    if marked and already_corrected is None:
        raise InputError(
            f"{marked[0]} states that its figures are corrected already: say whether they are (--corrected or --uncorrected), so that they are not "
            "corrected twice"
        )
    if given is not None:
        missing = [name for name in groups if name not in given]
        if missing:
            raise InputError(
                f"weather is missing for {missing[0]}: give it for every variant (--weather), or for none to compare as measured"
            )
        weather = {name: [given[name]] * len(pulls) for name, pulls in groups.items()}
    else:
        weather = {
            name: [pull.facts.weather for pull in pulls if pull.facts.weather is not None] for name, pulls in groups.items()
        }
        with_it = [name for name, pulls in groups.items() if len(weather[name]) == len(pulls)]
        if len(with_it) < len(groups):
            return _none(groups, WeatherNote(PARTLY if any(weather.values()) else NONE))
    found = {name: np.array([correction.factor(air, standard) for air in airs]) for name, airs in weather.items()}
    together = np.concatenate(list(found.values()))
    span = float(together.max() / together.min() - 1)
    if given is None and already_corrected is None and not all(pull.measured for pull in every):
        if span > SAME_WEATHER:
            raise InputError(
                "the files contain each pull's weather and do not say whether their figures are corrected by it already, which moves a gain by up to "
                f"{100 * span:.1f} %: say --corrected or --uncorrected"
            )
        return _none(groups, WeatherNote(SAME))
    means = [float(values.mean()) for values in found.values()]
    if max(means) / min(means) - 1 > LARGEST_FACTOR_DIFFERENCE:
        raise InputError(
            f"the sides' correction factors differ by {100 * (max(means) / min(means) - 1):.1f} %, allowed are 3 %: repeat the pulls in similar weather"
        )
    valid = all(correction.is_valid(air) for airs in weather.values() for air in airs)
    by = WeatherNote(CORRECTED, standard, given is not None)
    return Factors(found, True, valid, (by,) if valid else (by, WeatherNote(OUTSIDE)))


def _none(groups: Mapping[str, Sequence[Pull]], note: WeatherNote) -> Factors:
    """Figures compared as they are."""
    return Factors({name: np.ones(len(pulls)) for name, pulls in groups.items()}, False, True, (note,))
