"""A tank that holds several fuels: their compositions are added by volume, and what boils is worked out from the sum.

The vapour pressure of hydrocarbons then comes out between two published rules: straight by volume (EPA, answers of 1 July 1994 on reformulated gasoline,
EPA420-R-03-009, which say the same of per cent evaporated at a temperature), and the blending index, the parts' vapour pressures to the power 1.25 by
volume (as public pages quote it; its first source was not seen). Ethanol in one part only raises it far above both: it is the mixture's activity that
finds this, as it does for the rise in Directive 98/70/EC, Annex III. The blend boils earlier than the mean of its parts; no curve is averaged.
"""

import re
from collections.abc import Sequence

import numpy as np

from hotfuel import units
from hotfuel.errors import InputError
from hotfuel.fuel import fit, flash, onset
from hotfuel.fuel.components import Array
from hotfuel.fuel.fuel import SIGMA_DEGC, Fuel
from hotfuel.text import listed
from hotfuel.units import Shown

EXAMPLE = '"60 % D4814 E-5 and 40 % D4814 A-1", or as volumes, "25 L D4814 E-5 and 15 L D4814 A-1"'
_MOST_PARTS = 4
_OFF_100 = 1.0  # three thirds are written as 33 %
_INDEX_POWER = 1.25
_PER_KPA_DEGC = 0.33  # of T(V/L=20), in the linear equation of ASTM D4814-18 appendix X2
_SAME_ETHANOL_VOL = 1.0
# Standard uncertainty of the limit by working out a blend instead of measuring it, degC, of equal parts with the same ethanol (own judgement; the two
# published rules differ by 0.2). With different ethanol: hotfuel.fuel.fuel.SIGMA_DEGC.
_BLENDED_DEGC = 1.0
_SHARE_U = 0.05  # a tank's gauge and a filling are read to a twentieth of a tank: common practice, no source
_UNITS = "|".join(
    sorted((re.escape(unit) for kind in ("percent", "volume") for unit in units.UNITS[kind]), key=len, reverse=True)
)
_SHARE = re.compile(rf"(half|[-+]?\d[\d.,]*\s*(?:{_UNITS}))\s+(?:of\s+)?(\D.*)")


def parts_of(text: str) -> list[tuple[str, str]] | None:
    """(share, fuel) of each part of "60 % D4814 E-5 and 40 % D4814 A-1"; None of a text that names no share. Raises InputError where only some parts
    have one."""
    pieces = [piece for piece in re.split(r"\s+and\s+|\s*[+;]\s*|,\s+", text.strip()) if piece]
    found = [_SHARE.fullmatch(piece) for piece in pieces]
    if not any(found):
        return None
    if not all(found):
        without = next(piece for piece, match in zip(pieces, found, strict=True) if match is None)
        raise InputError(f'"{without}" is not a share and a fuel: write a blend as {EXAMPLE}')
    return [(match[1], match[2]) for match in found if match]


def shares_of(texts: Sequence[str]) -> list[float]:
    """The shares of a blend's parts, summing to 1, from texts that are all per cent or all volumes. Raises InputError, one sentence.

    Example: shares_of(["25 L", "15 L"]) -> [0.625, 0.375].
    """
    if len(texts) < 2:
        raise InputError(f"a blend is of two fuels or more, each with its share: {EXAMPLE}")
    if len(texts) > _MOST_PARTS:
        raise InputError(f"a blend of {len(texts)} fuels was given, allowed are {_MOST_PARTS}: leave out the smallest shares")
    plain = ["50 %" if text.strip().lower() == "half" else text.strip() for text in texts]
    percent = [text.endswith("%") for text in plain]
    if any(percent) and not all(percent):
        raise InputError(f"the shares of the blend are {listed(list(texts))}: give all of them in per cent, or all as volumes")
    values = [units.parse(text, "percent" if percent[0] else "volume") for text in plain]
    for text, value in zip(texts, values, strict=True):
        if not value > 0:
            raise InputError(f'a share of "{text}" was given: a fuel of the blend has more than 0, leave it out otherwise')
    whole = sum(values)
    if percent[0] and abs(whole - 100) > _OFF_100:
        raise InputError(
            f"the shares of the blend add up to {whole:g} %, not to 100 %: give every fuel in the tank with its share, or all as volumes"
        )
    return [value / whole for value in values]


def named(shares: Sequence[float], names: Sequence[str]) -> str:
    """A blend's name. Example: named([0.6, 0.4], ["D4814 E-5", "D4814 A-1"]) -> "60 % D4814 E-5 and 40 % D4814 A-1"."""
    return listed([f"{100 * share:.0f} % {name}" for share, name in zip(shares, names, strict=True)])


def blended(shares: Sequence[float], parts: Sequence[Fuel], shown: Shown | None = None) -> Fuel:
    """The fuel in a tank that holds these parts, by volume; shares sum to 1. Sentences are in the units of `shown`, SI if not given.

    Its limit is the lowest of three: the mixture's, that less what the blending index adds to the vapour pressure, and the mean of the parts'. It is less
    certain than its parts': by the rule itself, and by shares read off a tank's gauge. Raises InputError where no fuel boils as the sum would.
    """
    shown, share = shown or Shown(), np.asarray(shares, dtype=float)
    feed = _sum(share, parts)
    limits = np.array([fit.t_vl20_degc(part.feed) for part in parts])
    ethanol = np.array([part.ethanol_vol for part in parts])
    mixed_degc, mean_degc = fit.t_vl20_degc(feed), float(share @ limits)
    mixed_kpa = _vapour_pressure_kpa(feed)
    index_kpa = float((share @ np.array([part.vapour_pressure_kpa for part in parts]) ** _INDEX_POWER) ** (1 / _INDEX_POWER))
    alike = float(np.ptp(ethanol)) <= _SAME_ETHANOL_VOL
    more_kpa = max(index_kpa - mixed_kpa, 0.0) if alike else 0.0
    limit_degc = min(mixed_degc - _PER_KPA_DEGC * more_kpa, mean_degc)
    holds = float(share @ ethanol)
    made = fit.anchored(feed.volume_fraction(), limit_degc) if limit_degc < mixed_degc else feed
    made = onset.with_published_onset(made, mixed_kpa + more_kpa, holds)
    fit.require_boiling_bit_by_bit(made)
    rule = _BLENDED_DEGC if alike else SIGMA_DEGC["blended" if holds <= 20 else "blended with much ethanol"]
    rule *= min(1.0, float(np.sqrt(2 * (1 - share @ share))))
    own_degc = float(np.hypot(rule, _by_share_degc(share, parts, mixed_degc)))
    limit_u, onset_u, density = (
        float(share @ np.array(each))
        for each in zip(
            *((one.limit_uncertainty_degc, one.onset_uncertainty_degc, one.density_15c_kg_m3) for one in parts), strict=True
        )
    )
    notes = [
        f"A blend by volume, taken as mixed through. Until a drive has drawn it in, line and pump hold what was in them before; alone, its parts have their "
        f"limits at {listed([shown.text(degc, 'temperature') for degc in limits])}.",
        "The blend itself was not measured: the compositions of its parts are added, and where ways to work it out differ, the more volatile counts.",
    ]
    if alike:
        notes.append(
            f"Its vapour pressure works out at {shown.text(mixed_kpa, 'pressure')}; the blending index (to the power {_INDEX_POWER:g} by volume, as public "
            f"pages quote it) has {shown.text(index_kpa, 'pressure')}."
        )
    else:
        notes.append(
            f"Its parts differ in ethanol, which raises the vapour pressure by more than its share (Directive 98/70/EC, Annex III): the limit is "
            f"{shown.text(max(mean_degc - limit_degc, 0.0), 'temperature difference')} below the mean of the parts'."
        )
    return Fuel(
        name=named(shares, [part.name for part in parts]),
        route="worked out from the fuels it is blended of",
        assumed="blend",
        feed=made,
        limit_uncertainty_degc=float(np.hypot(limit_u, own_degc)),
        onset_uncertainty_degc=float(np.hypot(onset_u, own_degc)),
        ethanol_vol=round(holds, 2),
        notes=(*notes, *_notes_of(parts)),
        edition=listed(list(dict.fromkeys(part.edition for part in parts if part.edition))) or None,
        from_memory=any(part.from_memory for part in parts),
        density_15c_kg_m3=round(density, 1),
        parts=tuple(parts),
        questions=tuple(dict.fromkeys(f"Of the blend's {part.name}: {asked}" for part in parts for asked in part.questions)),
    )


def _notes_of(parts: Sequence[Fuel]) -> list[str]:
    """The parts' notes, each with the parts that it is of."""
    names: dict[str, list[str]] = {}
    for part in parts:
        for note in part.notes:
            names.setdefault(note, []).append(part.name)
    return [f"{listed(list(dict.fromkeys(of)))}: {note}" for note, of in names.items()]


def _sum(share: Array, parts: Sequence[Fuel]) -> flash.Feed:
    volumes = sum(one * part.feed.volume_fraction() for one, part in zip(share, parts, strict=True))
    anchor = sum(one * part.feed.anchor for one, part in zip(share, parts, strict=True))
    return flash.Feed.of_volumes(np.asarray(volumes), anchor)


def _vapour_pressure_kpa(feed: flash.Feed) -> float:
    return float(flash.pressure_kpa(feed, np.array([fit.TEST_K]), np.array([fit.TEST_VAPOUR_LIQUID_RATIO]))[0])


def _by_share_degc(share: Array, parts: Sequence[Fuel], mixed_degc: float) -> float:
    """How far the limit moves where one part is a twentieth of a tank more or less than was said: the largest of all."""
    moved = [0.0]
    for row in range(len(share)):
        for by in (-_SHARE_U, _SHARE_U):
            other = float(np.clip(share[row] + by, 0.0, 1.0))
            shifted = share * (1 - other) / (1 - share[row])
            shifted[row] = other
            moved.append(abs(fit.t_vl20_degc(_sum(shifted, parts)) - mixed_degc))
    return max(moved)
