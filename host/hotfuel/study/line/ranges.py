"""What a forecast assumes of a car that nobody measured, as ranges (least, greatest), or a middle and a spread.

All of them are assumptions. Each is about as wide as two models of a fuel line need it, the simulator and the second model of the trials (tests/bench):
fitted to 100, then to 192 other cars of the trials, and held against 208 that no range was fitted to (tests/bench/forecasts.md): coverage is 0.90
to 0.99 in 78 of 120 rows, lower in one, higher in 41. HELD was widened after that.
"""

# The share of a hotter day's extra degrees that fuel as hot as the engine does not see, because the thermostat holds the engine.
FOLLOWS = (-0.05, 0.82)
AIR_UNKNOWN = 0.5  # of that, where nobody knows how hot the air was, and with it how near the engine's temperature the fuel was
# Share of the degrees past boiling's onset that boiling takes away: from fuel that flows past a heat, that stands in a hose, in a pump or a bowl.
BOILED_FLOWING, BOILED_HOSE, BOILED_METAL = (-0.2, 0.67), (-0.13, 0.47), (0.0, 0.44)
SURROUNDINGS_ABOVE_DEGC = (3.0, 60.0)  # how far beyond a place's hottest flowing fuel stands what heats it
# How fast standing fuel forgets a difference (median, spread of the logarithm): in a pump or a bowl with its metal, and in a hose.
STANDING_S, STANDING_SPREAD = 860.0, 0.57
HOSE_STANDING_S, HOSE_STANDING_SPREAD = 270.0, 0.5
OLD_PUMP = (0.5, 1.1)  # share of the rise to a pump on the engine that is the pump's own
OLD_ELECTRIC_U = 0.3  # of the rise to an electric pump: what moving it to the tank leaves out or adds (standard)
OUTLET = (0.46, 0.88)  # of the rise behind a pump, what its outlet side heats
# After a start: share of what the place before is hotter by that a change adds (middle, standard deviation), and when most of it passes.
FLUSH_S, FLUSHED, PASSING_S = 90.0, (0.11, 0.2), 45.0
DELAYS = 3.0  # in times of forgetting: what keeps heat out delays standing fuel, and in the end it gets as hot
STOPS_ALIKE = (0.36, 1.12)  # how much of what was there at its stop is there in standing fuel
# How fast a place takes on the flowing fuel's difference after a start: its own metal, and what stood before it.
STARTED_S = (14.0, 95.0)
# What stood in the hose before a place passes it first: litres where nobody said what the hose holds, and seconds where nobody knows the flow.
OWN_FUEL_L, OWN_FUEL_S = (0.0, 0.1), (0.0, 60.0)
PASSED = (0.18, 0.67)  # of the difference that stood at the place before, how much passes a place after a start
FILM = (0.12, 0.42)  # the power of the flow with which the heat taken up rises
# Of a rise, what comes through the line's wall where a pump heats too; what shines on the line.
THROUGH_WALL, SHONE = (0.03, 0.97), (0.1, 0.92)
# What goes on keeping heat out of standing fuel: insulation, a shield, a spacer, more flow before the stop; and the old pump's place without it.
HELD, HELD_SHIELD, HELD_SPACER, HELD_FLOW, HELD_GONE = (0.5, 1.45), (0.35, 1.13), (0.17, 0.6), (0.04, 0.3), (-0.08, 1.25)
CONDUCTED = (0.14, 0.82)  # share of a pump's rise that comes through its flange
PUMP_W = (3.0, 19.0)  # what an electric pump puts into the fuel in the line and not into the tank
# What that heat warms before all of it leaves with the fuel: litres of fuel that hold as much heat as the line with its fuel and the pump's metal, where
# nobody said what the line holds; and at most this much besides the fuel in the line, where somebody did.
PUMP_WARMS_L, PUMP_METAL_L = (0.1, 0.3), 0.1
RETURN_U = 0.1  # of a return's flow as the car file states it
