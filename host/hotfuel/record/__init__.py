"""Recording: the process that writes the board's bytes to a log and runs the alarm, nothing else."""
