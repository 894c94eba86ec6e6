"""Activity coefficients of the liquid by UNIFAC: how strongly the components, above all ethanol, push each other into the vapour.

Ten per cent of ethanol raises the vapour pressure of a gasoline though its own is low, because its molecules are strangers among
hydrocarbons. UNIFAC (Fredenslund, Jones and Prausnitz, AIChE J. 21 (1975) 1086) works this out from the groups a molecule is made of;
volumes, surfaces and interactions are those of revision 5 (Hansen et al., Ind. Eng. Chem. Res. 30 (1991) 2352), in `data/unifac_*.csv`.
"""

import numpy as np

from hotfuel.fuel.components import Array, COUNT, _TABLE, rows

_GROUPS = rows("unifac_groups")
_MAIN = list(dict.fromkeys(row["main_group"] for row in _GROUPS))
_COUNTS = np.array([[float(row[f"n_{group['group'].lower()}"]) for group in _GROUPS] for row in _TABLE])
_SURFACE_OF_GROUP = np.array([float(row["surface_q"]) for row in _GROUPS])
_R = _COUNTS @ np.array([float(row["volume_r"]) for row in _GROUPS])
_Q = _COUNTS @ _SURFACE_OF_GROUP
# Interactions depend on the main group only, so the group sums run over the four main groups.
_MAIN_OF_GROUP = np.array([[row["main_group"] == main for main in _MAIN] for row in _GROUPS], dtype=float)
_SURFACE = (_COUNTS * _SURFACE_OF_GROUP) @ _MAIN_OF_GROUP
_A = np.zeros((len(_MAIN), len(_MAIN)))
for _row in rows("unifac_interactions"):
    _A[_MAIN.index(_row["main_group"]), _MAIN.index(_row["with_group"])] = float(_row["interaction_k"])
_BRACKET = 1 - np.log(_R / _Q)


def _group_terms(share: Array, psi: Array) -> Array:
    """1 - ln(sum_m share_m psi_mk) - sum_m share_m psi_km / sum_n share_n psi_nm for every main group k; shape (4, states)."""
    mixed = np.einsum("ms,mks->ks", share, psi)
    return 1 - np.log(mixed) - np.einsum("kms,ms->ks", psi, share / mixed)


def log_activity(mole_fraction: Array, temperature_k: Array) -> Array:
    """ln(gamma) of every component.

    `mole_fraction`: (components, states), each column summing to 1; `temperature_k`: (states,). Returns (components, states).
    Example: ethanol at x = 0.1 in n-hexane at 310.9 K -> gamma about 5.
    """
    r, q = _R @ mole_fraction, _Q @ mole_fraction
    log_r, log_rq = np.log(r), np.log(r / q)
    combinatorial = (
        1 - _R[:, None] / r + np.log(_R)[:, None] - log_r
        - 5 * _Q[:, None] * (1 - (_R / _Q)[:, None] * (q / r) + np.log(_R / _Q)[:, None] - log_rq)
    )
    psi = np.exp(-_A[:, :, None] / temperature_k)
    here = _group_terms((_SURFACE.T @ mole_fraction) / q, psi)
    pure = np.stack([_group_terms(np.broadcast_to((_SURFACE[i] / _Q[i])[:, None], here.shape), psi) for i in range(COUNT)])
    return combinatorial + np.einsum("im,ims->is", _SURFACE, here[None] - pure)
