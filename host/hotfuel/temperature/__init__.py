"""From a chip's counts to degrees: one function, one thermocouple table, the channel's calibration and its error budget."""
