"""Power pulls: the columns of a file, pulls, curves, the correction to standard air, and what a gain can be put down to."""
