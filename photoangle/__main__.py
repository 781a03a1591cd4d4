"""`python -m photoangle`."""

from photoangle.cli import main

main(prog_name="photoangle")
