"""``python -m feedcalc`` is the command line."""

from feedcalc.command_line import main

main()
