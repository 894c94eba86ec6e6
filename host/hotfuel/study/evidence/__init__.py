"""Statistics that know no fuel: intervals, the mixed model, verdicts, the order of runs, plans, bands."""
