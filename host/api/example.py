"""A worked analysis: where a drive came nearest boiling, how long each place stood beyond its limit, and what its stops did.

    python host/api/example.py hotfuel-demo/drive

Everything is a table of pandas with the unit in the column's name. It runs in the tests, on a synthetic session.
"""

import sys

import pandas as pd
from hotfuel import session
from hotfuel.study.drive.phases import phases


def analysis(path: str) -> pd.DataFrame:
    """One row a place: hottest_degc, smallest_margin_degc with uncertainty_degc there, and minutes_beyond (the limit, without the alarm's delays)."""
    drive = session.open(path)
    temperatures, margins = drive.temperatures(), drive.margins()
    step_min = temperatures.index.to_series().diff().dt.total_seconds() / 60
    rows = {}
    for column in margins.filter(like="_margin_degc"):
        place = str(column).removesuffix("_margin_degc")
        if margins[column].notna().any():
            least = margins[column].idxmin()
            rows[place] = {
                "hottest_degc": temperatures.get(f"{place}_degc", pd.Series(dtype=float)).max(),
                "smallest_margin_degc": margins.loc[least, column],
                "uncertainty_degc": margins.loc[least, f"{place}_uncertainty_degc"],
                "minutes_beyond": step_min[margins[f"{place}_state"] == "act"].sum(),
            }
    return pd.DataFrame.from_dict(rows, orient="index")


if __name__ == "__main__":
    drive = session.open(sys.argv[1])
    print(drive)
    print(analysis(sys.argv[1]).round(1).to_string())
    for phase in phases(drive):
        print(f"{phase.name}: {phase.duration_s / 60:.1f} min")
    print(drive.alarms().to_string())
