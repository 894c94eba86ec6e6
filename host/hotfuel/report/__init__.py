"""Pages and sheets for people. They show results of the rooms below and compute none."""
