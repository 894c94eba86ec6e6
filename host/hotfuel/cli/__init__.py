"""The command line: parses, calls, prints. Imported by nobody."""

from hotfuel.cli.app import main

__all__ = ["main"]
