"""hotfuel: how hot the fuel gets in the moving car, and how near each place is to boiling."""

__version__ = "0.1.0"
