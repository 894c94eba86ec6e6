"""Activity coefficients of the liquid by UNIFAC: how strongly the components, above all ethanol, push each other into the vapour.

Ten per cent of ethanol raises the vapour pressure of a gasoline though its own is low, because its molecules are strangers among
hydrocarbons. UNIFAC (Fredenslund, Jones and Prausnitz, AIChE J. 21 (1975) 1086) works this out from the groups a molecule is made of;
volumes, surfaces and interactions are those of revision 5 (Hansen et al., Ind. Eng. Chem. Res. 30 (1991) 2352), in `data/unifac_*.csv`.
"""

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


class Activity:
    """UNIFAC for the components `which` (indices), at fixed temperatures: what depends on temperature alone is worked out once.

    Example: ethanol at x = 0.1 in n-hexane at 310.9 K -> gamma about 5.
    """

    def __init__(self, which: Indices, temperature_k: Array) -> None:
        present = np.flatnonzero(_SURFACE[which].any(axis=0))
        self._r, self._q, self._surface = _R[which], _Q[which], _SURFACE[which][:, present]
        psi = np.exp(-_A[np.ix_(present, present)][:, :, None] / np.atleast_1d(temperature_k))
        self._psi = psi
        self._sums = np.vstack([self._r, self._q, self._surface.T])
        ratio = self._r / self._q
        pure = np.zeros((len(which), psi.shape[2]))
        mixed = np.flatnonzero((self._surface > 0).sum(axis=1) > 1)  # alkanes are of one main group: their pure term is 0
        if len(mixed):
            terms = self._group_terms((self._surface[mixed] / self._q[mixed][:, None]).T[:, :, None])
            pure[mixed] = np.einsum("cg,gcs->cs", self._surface[mixed], terms)
        self._constant = (1 + np.log(self._r) - 5 * self._q * (1 + np.log(ratio)))[:, None] - pure
        # ln gamma is linear in these factors, which leaves one matrix product for each state
        self._linear = np.hstack(
            [np.ones((len(which), 1)), self._r[:, None], self._q[:, None], (self._q * ratio)[:, None], self._surface]
        )

    def _group_terms(self, share: Array) -> Array:
        """1 - ln(sum_m share_m psi_mk) - sum_m share_m psi_km / sum_n share_n psi_nm for every main group k; shape (groups, ..., states)."""
        psi, groups = self._psi, range(len(share))
        mixed = [sum(share[m] * psi[m, k] for m in groups) for k in groups]
        scaled = [share[m] / mixed[m] for m in groups]
        return np.stack([1 - np.log(mixed[k]) - sum(psi[k, m] * scaled[m] for m in groups) for k in groups])

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


def activity_coefficient(mole_fraction: Array, temperature_k: Array) -> Array:
    """gamma of every component of the package: `mole_fraction` (11, states) and `temperature_k` (states,) -> (11, states)."""
    return np.exp(
        Activity(np.arange(len(COMPONENTS)), np.asarray(temperature_k, dtype=float)).log_gamma(
            np.asarray(mole_fraction, dtype=float)
        )
    )
