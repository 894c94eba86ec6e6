"""`python -m hotfuel`."""

from hotfuel.cli import main

main()
