"""Recording: the process that keeps what the board sends and runs the alarm, nothing else."""
