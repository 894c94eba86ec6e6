"""Installs the firmware on a board: checks, copies and verifies its files, and removes what an earlier version left."""
