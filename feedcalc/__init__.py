"""Real chemistry for liquid mineral feed from wood ash."""

__version__ = "0.1.0"
