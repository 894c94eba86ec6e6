"""How the firmware gets onto a board: what goes there, checked, copied, verified, and what an earlier version left taken away."""
