"""What happened in one recording: its course by seconds, its phases, restarts, a complaint, the limit this car showed itself."""
