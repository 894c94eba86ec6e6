"""`python -m hotfuel.cli`."""

from hotfuel.cli.app import main

main()
