"""Formulas for fuel: at what temperature and pressure it boils. Knows no samples, sessions or cars."""

from hotfuel.fuel.fuel import Fuel
from hotfuel.fuel.named import fuel_from, fuel_named
from hotfuel.fuel.table import LimitTable

__all__ = ["Fuel", "LimitTable", "fuel_from", "fuel_named"]
