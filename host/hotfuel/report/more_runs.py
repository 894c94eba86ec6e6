"""How many more runs would decide, in words."""

from hotfuel.study.evidence.verdicts import MOST_RUNS, MoreRuns


def words(found: MoreRuns, unit: str = "") -> str:
    """For example "3 to 11 more runs a side"; unit: instead of its own."""
    unit = unit or found.unit
    if found.at_least >= MOST_RUNS:
        return f"more than 100 more {unit}s a side"
    if found.at_least == found.at_most:
        return f"{found.at_least} more {unit}{'s' if found.at_least > 1 else ''} a side"
    most = "more than 100" if found.at_most >= MOST_RUNS else f"{found.at_most}"
    return f"{found.at_least} to {most} more {unit}s a side"
