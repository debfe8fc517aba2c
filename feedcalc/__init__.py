"""Real chemistry for liquid mineral feed from wood ash."""
