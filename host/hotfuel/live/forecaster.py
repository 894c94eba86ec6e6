"""Forecasts of the stop or idle under way: readings collected batch by batch, each forecast worked out in another thread."""

import concurrent.futures
import math
from pathlib import Path

from hotfuel.car import Car
from hotfuel.fuel import Fuel
from hotfuel.live import forecasts
from hotfuel.live.forecasts import Outlook
from hotfuel.live.history import MeansSince
from hotfuel.live.intake import Batch
from hotfuel.risk.engine import IDLE_SHARE

_ROWS = 10  # every tenth tick is enough


class Forecaster:
    """Feed it every batch, then call `look`. `stop`, `idle`: what is under way; `outlooks`: the latest forecasts, () without.

    path: the session's folder; this car's own soaks are read from the sessions beside it. fuel: None where limits cannot be worked out: no forecasts then.
    """

    def __init__(self, path: Path, car: Car | None, fuel: Fuel | None) -> None:
        self._car, self._fuel = car, fuel
        self.stop, self.idle = MeansSince(), MeansSince()
        self.outlooks: tuple[Outlook, ...] = ()
        self.pending: concurrent.futures.Future[list[Outlook]] | None = None
        self._begun_at = -math.inf
        self._worker = concurrent.futures.ThreadPoolExecutor(1, "forecast")
        self._experience: concurrent.futures.Future[dict[str, forecasts.Experience]] = concurrent.futures.Future()
        if car is not None and fuel is not None:
            self._experience = self._worker.submit(forecasts.experience, path, car)

    def close(self) -> None:
        """End the thread; a forecast under way is dropped."""
        self._worker.shutdown(wait=False, cancel_futures=True)

    def add(self, batch: Batch) -> None:
        """Readings of the stop or idle under way; its beginning and end discard the forecasts."""
        if self._car is None:
            return
        idle_rpm = self._car.engine.idle_speed_rpm * IDLE_SHARE
        for row in range(0, len(batch.seconds), _ROWS):
            at, running, rpm = float(batch.seconds[row]), batch.inputs["running"][row], batch.inputs["engine_rpm"][row]
            for since, on in ((self.stop, running == 0), (self.idle, running == 1 and rpm <= idle_rpm)):
                if on and not since.on:
                    since.begin(at)
                    self.outlooks, self._begun_at = (), -math.inf
                elif not on and since.on:
                    since.end()
                    self.outlooks = ()
                if since.on:
                    since.add(at, {name: float(batch.degc[row, number]) for number, name in enumerate(batch.places)})

    def look(self, latest: Batch | None) -> None:
        """Collect a forecast that is finished, and start one that is due. latest: the last batch, None before the log's end was reached."""
        if self.pending is not None and self.pending.done():
            pending, self.pending = self.pending, None
            if not pending.cancelled() and pending.exception() is None and (self.stop.on or self.idle.on):
                self.outlooks = tuple(pending.result())
        since = self.stop if self.stop.on else self.idle
        if self.pending is not None or latest is None or not since.on or self._car is None or self._fuel is None:
            return
        at = float(latest.seconds[-1])
        if at - since.began < forecasts.FIRST_S or at - self._begun_at < forecasts.EVERY_S:
            return
        self._begun_at = at
        what = forecasts.task(self._car, since, since is self.stop, at, latest.margins, latest.inputs)
        known = self._experience.result() if self._experience.done() and self._experience.exception() is None else {}
        self.pending = self._worker.submit(forecasts.outlooks, what, self._fuel, known)
