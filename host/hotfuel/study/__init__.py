"""What the recordings mean: phases, the story, which fix worked, power, the hose, coolers and forecasts. The run is the unit that counts."""
