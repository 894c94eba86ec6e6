"""How near each place is to boiling: pressure there, margin, trend, forecasts, and the tables the board's lamp works from."""
