"""Activity coefficients of the liquid by UNIFAC: how strongly the components, above all ethanol, push each other into the vapour.

Ten per cent of ethanol raises the vapour pressure of a gasoline although its own is low, because ethanol and hydrocarbons mix
non-ideally. UNIFAC (Fredenslund, Jones and Prausnitz, AIChE J. 21 (1975) 1086) computes this from the groups a molecule is made of;
volumes, surfaces and interactions are those of revision 5 (Hansen et al., Ind. Eng. Chem. Res. 30 (1991) 2352), in `data/unifac_*.csv`.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hotfuel.fuel.components import COMPONENTS, Array, Indices, rows

_GROUPS = rows("unifac_groups")
_MAIN = list(dict.fromkeys(row["main_group"] for row in _GROUPS))
_COUNTS = np.array([[float(row[f"n_{group['group'].lower()}"]) for group in _GROUPS] for row in COMPONENTS])
_SURFACE_OF_GROUP = np.array([float(row["surface_q"]) for row in _GROUPS])
_R = _COUNTS @ np.array([float(row["volume_r"]) for row in _GROUPS])
_Q = _COUNTS @ _SURFACE_OF_GROUP
# Interactions depend on the main group only, so the group sums run over the four main groups.
_SURFACE = (_COUNTS * _SURFACE_OF_GROUP) @ np.array(
    [[row["main_group"] == main for main in _MAIN] for row in _GROUPS], dtype=float
)
_A = np.zeros((len(_MAIN), len(_MAIN)))
for _row in rows("unifac_interactions"):
    _A[_MAIN.index(_row["main_group"]), _MAIN.index(_row["with_group"])] = float(_row["interaction_k"])


@dataclass(frozen=True)
class _OfGroups:
    """Quantities that depend on the groups alone. ln gamma is linear in its factors, so each state takes one matrix product (`linear`)."""

    sums: Array
    linear: Array
    interaction: Array
    constant: Array
    mixed: Indices  # components with more than one main group; alkanes have one, so their pure term is 0
    mixed_share: Array
    mixed_surface: Array


@lru_cache(maxsize=64)
def _of_groups(which: tuple[int, ...]) -> _OfGroups:
    chosen = list(which)
    present = np.flatnonzero(_SURFACE[chosen].any(axis=0))
    r, q, surface = _R[chosen], _Q[chosen], _SURFACE[chosen][:, present]
    ratio = r / q
    mixed = np.flatnonzero((surface > 0).sum(axis=1) > 1)
    return _OfGroups(
        sums=np.vstack([r, q, surface.T]),
        linear=np.hstack([np.ones((len(chosen), 1)), r[:, None], q[:, None], (q * ratio)[:, None], surface]),
        interaction=_A[np.ix_(present, present)],
        constant=1 + np.log(r) - 5 * q * (1 + np.log(ratio)),
        mixed=mixed,
        mixed_share=(surface[mixed] / q[mixed][:, None]).T,
        mixed_surface=surface[mixed],
    )


class Activity:
    """UNIFAC for the components `which` (indices), at fixed temperatures: the terms that depend on temperature alone are computed once.

    Example: ethanol at x = 0.1 in n-hexane at 310.9 K -> gamma about 5.
    """

    def __init__(self, which: Indices, temperature_k: Array) -> None:
        of_groups = _of_groups(tuple(which.tolist()))
        self._sums, self._linear = of_groups.sums, of_groups.linear
        self._psi = np.exp(-of_groups.interaction[:, :, None] / np.atleast_1d(temperature_k))
        self._constant = np.repeat(of_groups.constant[:, None], self._psi.shape[2], axis=1)
        mixed = of_groups.mixed
        if len(mixed):
            share = of_groups.mixed_share
            beside = np.einsum("mc,mks->kcs", share, self._psi)
            terms = 1 - np.log(beside) - np.einsum("kms,mcs->kcs", self._psi, share[:, :, None] / beside)
            self._constant[mixed] -= np.einsum("cg,gcs->cs", of_groups.mixed_surface, terms)

    def _group_terms(self, share: Array) -> Array:
        """1 - ln(sum_m share_m psi_mk) - sum_m share_m psi_km / sum_n share_n psi_nm for every main group k; shape (groups, states)."""
        mixed = np.einsum("ms,mks->ks", share, self._psi)
        answer: Array = 1 - np.log(mixed) - np.einsum("kms,ms->ks", self._psi, share / mixed)
        return answer

    def log_gamma(self, liquid: Array) -> Array:
        """ln(gamma), shape (components, states). `liquid`: moles in the liquid, (components, states), of any total."""
        sums = self._sums @ liquid
        total = liquid.sum(axis=0)
        r, q = sums[0], sums[1]
        log_r = np.log(r / total)
        factors = np.empty((4 + len(sums) - 2, liquid.shape[1]))
        factors[0] = -log_r
        factors[1] = -total / r
        factors[2] = 5 * (log_r - np.log(q / total))
        factors[3] = 5 * q / r
        factors[4:] = self._group_terms(sums[2:] / q)
        found = self._linear @ factors
        found += self._constant
        return found
