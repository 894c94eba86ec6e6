"""`python -m hotfuel.cli`."""

from hotfuel.cli import main

main()
