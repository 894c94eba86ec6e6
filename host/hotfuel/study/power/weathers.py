"""Which correction each pull gets: by the weather in its own file, or given for its variant, never twice."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hotfuel.errors import InputError
from hotfuel.study.power import correction
from hotfuel.study.power.pulls import Pull

LARGEST_FACTOR_DIFFERENCE = 0.03
SAME_WEATHER = 0.001  # factors within it make no difference to a gain that anybody could see
SAME = "The weather in the files was the same for all pulls, within 0.1 % of power: figures are compared as they are."
_CORRECTED = "Power is corrected to"


def is_condition(sentence: str) -> bool:
    """Whether a sentence about the weather only states it, and weakens nothing."""
    return sentence == SAME or sentence.startswith(_CORRECTED)


@dataclass(frozen=True)
class Factors:
    """One factor a pull {variant: (pulls,)}, ones where nothing is corrected; whether anything is; whether absolute figures count; sentences."""

    of: dict[str, np.ndarray]
    corrected: bool
    absolute_figures_count: bool
    cautions: tuple[str, ...]

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
            f"{marked[0]} says that its figures are corrected already, and {unmarked[0]} does not: say whether all are or none is (--corrected or "
            "--uncorrected), and compare like with like"
        )
    if already_corrected or (marked and already_corrected is None and given is None):
        twice = " The weather given was not applied a second time." if given else ""
        who = "are corrected already, as stated" if already_corrected else "are corrected already, as the files say"
        return _none(groups, f"The figures {who}: they are compared as they are.{twice}")
    if marked and already_corrected is None:
        raise InputError(
            f"{marked[0]} says that its figures are corrected already: say whether they are (--corrected or --uncorrected), so that they are not "
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
            return _none(groups, _no_weather(any(weather.values())))
    found = {name: np.array([correction.factor(air, standard) for air in airs]) for name, airs in weather.items()}
    together = np.concatenate(list(found.values()))
    span = float(together.max() / together.min() - 1)
    if given is None and already_corrected is None and not all(pull.measured for pull in every):
        if span > SAME_WEATHER:
            raise InputError(
                "the files hold each pull's weather and do not say whether their figures are corrected by it already, which moves a gain by up to "
                f"{100 * span:.1f} %: say --corrected or --uncorrected"
            )
        return _none(
            groups,
            SAME,
        )
    means = [float(values.mean()) for values in found.values()]
    if max(means) / min(means) - 1 > LARGEST_FACTOR_DIFFERENCE:
        raise InputError(
            f"the sides' correction factors differ by {100 * (max(means) / min(means) - 1):.1f} %, allowed are 3 %: repeat the pulls in like weather"
        )
    valid = all(correction.is_valid(air) for airs in weather.values() for air in airs)
    outside = (
        "The weather is outside the 7 % for which the correction holds: absolute figures do not count; "
        "the comparison goes on because both sides share it."
    )
    whose = f"{_CORRECTED} {standard} by the weather {'given' if given is not None else 'in the files, pull by pull'}."
    return Factors(found, True, valid, (whose, *(() if valid else (outside,))))


def _no_weather(partly: bool) -> str:
    what = "The weather is known of some pulls only" if partly else "No weather was given"
    return f"{what}: figures are compared as measured, and a change in the weather between the sides would look like the change."


def _none(groups: Mapping[str, Sequence[Pull]], caution: str) -> Factors:
    return Factors({name: np.ones(len(pulls)) for name, pulls in groups.items()}, False, True, (caution,))
