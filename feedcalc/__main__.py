"""Run the command line with ``python -m feedcalc``."""

from feedcalc.command_line.main import main

main()
