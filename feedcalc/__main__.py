"""``python -m feedcalc`` is the command line."""

from feedcalc.command_line.main import main

main()
