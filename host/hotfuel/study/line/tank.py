"""The effect of a return line on the tank: returning fuel carries a fix's cold, or the engine's heat, into what the pump draws next."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from hotfuel.study.line.assumed import ReturnIntoTank, SwirlPot
from hotfuel.study.line.change import Change, bounds
from hotfuel.study.line.draws import DRAWS
from hotfuel.study.line.grid import STEP_S
from hotfuel.study.line.unknown import Unknown, What

if TYPE_CHECKING:
    from hotfuel.study.line.changed import Changed

# A parked tank follows the air with 1.4 per hour (EPA MOVES, TankTemperatureGenerator, steps 200 and 251; EPA-420-R-24-014, 3.1.1); tanks differ by a
# factor of two.
WALL_PER_HOUR, WALL_TIMES = 1.4, 2.0
USUAL_L = (15.0, 60.0)  # in a tank whose volume is not known (common practice, no source)
FILLED = (0.25, 1.0)  # of a tank whose volume is known
LOST_ON_THE_WAY = (0.0, 0.4)  # of the returning fuel's difference to the tank (assumption)


class Tank:
    """The tank of a car with a change: the difference from the recorded temperature, over time."""

    def __init__(self, changed: "Changed", change: Change) -> None:
        draws, engine, volume = changed.draws, changed.car.engine, changed.car.tank.volume_l
        self.to, self.change = changed, change
        if change.tank_l is not None:
            self.litres = np.full((DRAWS, 1), change.tank_l)
        elif volume:
            self.litres = volume * draws.between(Unknown(What.FILLED), *FILLED)
        else:
            self.litres = draws.between(Unknown(What.FILLED), *USUAL_L)
        wall = draws.unit(Unknown(What.TANK_WALL))
        self.wall_per_s = WALL_PER_HOUR * WALL_TIMES ** (2 * wall - 1) / 3600
        self.comes_back = 1 - draws.between(Unknown(What.ON_THE_WAY_BACK), *LOST_ON_THE_WAY)
        self.old_l_h = engine.return_flow_l_h
        self.new_l_h = np.zeros((DRAWS, 1))
        if change.return_l_h is not None:
            self.new_l_h = draws.between(Unknown(What.RETURN_NEW), *bounds(change.return_l_h))

    def cooled_by(self, at_return: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        """The difference at the tank, (DRAWS, m). at_return: gives the difference where the return leaves the line for one at the tank; it is linear."""
        grid = self.to.grid
        nothing = np.zeros((DRAWS, len(grid.on)))
        if not grid.chain or not (self.old_l_h or self.new_l_h.any()):
            return nothing
        last, first = [p for p in grid.chain if p in self.to.fresh][-1], grid.chain[0]
        plain = at_return(nothing)
        slope = np.clip(at_return(nothing - 5.0) - plain, -5.0, 0.0) / -5.0
        hotter = self.to.fresh[last] - self.to.fresh[first]
        if self.change.return_to == "swirl pot" and self.new_l_h.any():
            return self._pot(plain, slope, hotter)
        per_s = self.comes_back / self.litres / 3600
        # dD/dt = (returning less present difference) x flow / volume - wall D; what the old return brought back is in the recording.
        gain = per_s * (self.old_l_h + self.new_l_h) * plain + per_s * self.new_l_h * hotter
        loss = per_s * (self.old_l_h + self.new_l_h) * (1 - slope)
        made, now = np.empty_like(nothing), np.zeros(DRAWS)
        wall = self.wall_per_s[:, 0]
        for row, on in enumerate(grid.on):
            rate = wall + (loss[:, row] if on else 0.0)
            comes = gain[:, row] if on else 0.0
            keeps = np.exp(-rate * STEP_S)
            now = now * keeps + comes / rate * (1 - keeps)
            made[:, row] = now
        held = self.litres[:, 0]
        self.to.assumptions.append(ReturnIntoTank(float(held.min()), float(held.max())))
        return made

    def _pot(self, plain: np.ndarray, slope: np.ndarray, hotter: np.ndarray) -> np.ndarray:
        """Fuel of the tank and of the return, mixed in proportion to their flows."""
        flow = self.to.litres_h if self.to.known_flow else np.full((DRAWS, 1), self.to.car.engine.idle_flow_l_h)
        share = self.new_l_h / (self.new_l_h + flow) * self.comes_back
        made = share * (hotter + plain) / np.maximum(1 - share * slope, 0.05)
        self.to.assumptions.append(SwirlPot())
        return np.where(self.to.grid.on, made, 0.0)
