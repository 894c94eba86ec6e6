"""The stretches of a series in which something holds."""

import numpy as np
import numpy.typing as npt


def stretches(holds: npt.ArrayLike) -> list[tuple[int, int]]:
    """[(first row, one past the last)] of each stretch of True in `holds` (n,). Example: stretches([False, True, True]) -> [(1, 3)]."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], np.asarray(holds, dtype=bool), [False])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
