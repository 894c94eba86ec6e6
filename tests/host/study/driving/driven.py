"""A session as study sees one, made from the simulated car without board and log: the tables of hotfuel.session.Session, and the truth."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
from hotfuel.car import EXAMPLE, load
from hotfuel.risk.margin import margins
from hotfuel.risk.pressure import Conditions, running_state
from hotfuel.samples.table import scans
from hotfuel.session.means import SecondMeans
from hotfuel.session.summary import index_seconds
from hotfuel.simulator.car_model import CarModel

START_S = 1_780_000_000.0
COLUMNS = ("margin_degc", "limit_degc", "uncertainty_degc", "pressure_kpa", "vapour_liquid_ratio", "state")


class Driven:
    """What `hotfuel.session.open` would return for a run of the simulated car, at 1 Hz."""

    def __init__(
        self,
        scenario,
        *,
        car=None,
        name="run",
        marks=(),
        start_s=START_S,
        metadata=None,
        known=("engine_rpm", "fuel_pressure_kpa", "ambient_pressure_kpa", "ignition"),
        shift_degc=None,
    ):
        self.model = CarModel(scenario)
        self.truth = self.model.truth
        self.car = load(EXAMPLE) if car is None else car
        self.name, self.metadata = name, {"board_id": "00"} | (metadata or {})
        self.descriptions, self.calibration, self.positions = {}, None, None
        self.car_refused, self.take_out = "", None
        folder = Path(f"{name} {id(self)}")
        self.folder = SimpleNamespace(path=folder, log_path=folder / "wire.log")
        self.decoded = SimpleNamespace(
            scans=np.empty(0, scans(len(scenario.probes)))
        )  # without a log no reading can be another's
        rows = self.truth.iloc[::4]
        seconds = rows["time_s"].to_numpy()
        places = [probe.where for probe in scenario.probes]
        self.index = pd.to_datetime((start_s + seconds) * 1e6, unit="us", utc=True)
        self._temperatures = pd.DataFrame({f"{p}_degc": rows[f"{p}_probe_degc"].to_numpy() for p in places}, index=self.index)
        for place, shift in (shift_degc or {}).items():
            self._temperatures[f"{place}_degc"] += shift
        blank = np.full(len(rows), np.nan)
        profile = self.model.profile
        values = {
            "engine_rpm": rows["engine_rpm"].to_numpy(),
            "fuel_pressure_kpa": rows["fuel_pressure_kpa"].to_numpy(),
            "ambient_pressure_kpa": rows["ambient_pressure_kpa"].to_numpy(),
            "ignition": profile.ignition[::4].astype(float),
            "battery_v": blank,
        }
        values = {key: column if key in known else blank for key, column in values.items()}
        given = {key: column for key, column in values.items() if np.isfinite(column).any() and key != "battery_v"}
        conditions = Conditions(**given, time_s=seconds)
        running = np.broadcast_to(running_state(self.car, conditions), seconds.shape)
        self._inputs = pd.DataFrame(values | {"running": running}, index=self.index)
        degc = {p: self._temperatures[f"{p}_degc"].to_numpy() for p in places if p in {q.name for q in self.car.places}}
        table = margins(self.car, self.car.fuel(), degc, replace(conditions, running=running))
        self.margin_table = table
        self._margins = pd.DataFrame(
            {
                f"{p}_{c}": np.broadcast_to(np.asarray(getattr(m, c), dtype=float), seconds.shape)
                for p, m in table.places.items()
                for c in COLUMNS
            },
            index=self.index,
        )
        self._marks = pd.DataFrame(
            {
                "time": pd.to_datetime([(start_s + at) * 1e6 for at, _ in marks], unit="us", utc=True),
                "text": [text for _, text in marks],
            }
        )

    def temperatures(self):
        return self._temperatures.copy()

    def margins(self):
        return self._margins.copy()

    @property
    def ticks(self):
        """The part of hotfuel.session.frame.Ticks that study reads."""
        places = tuple(column.removesuffix("_degc") for column in self._temperatures)
        by_second = SecondMeans(index_seconds(self.index))
        return SimpleNamespace(
            index=self.index, places=places, degc=self._temperatures.to_numpy(), by_second=by_second, suspected=()
        )

    def inputs(self):
        return self._inputs.copy()

    def input_arrays(self):
        return {name: column.to_numpy() for name, column in self._inputs.items()}

    def by_hand(self):
        """No readings by hand."""
        return pd.DataFrame({"time": self.index[:0], "place": [], "dimension": [], "value": []})

    def marks(self):
        return self._marks.copy()

    def spans(self):
        """[(truth's phase name, first second, last second)]."""
        codes = self.model.profile.phase
        edges = [0, *(np.flatnonzero(np.diff(codes)) + 1), len(codes)]
        return [(self.model.profile.names[codes[a]], a / 4, b / 4) for a, b in pairwise(edges)]
