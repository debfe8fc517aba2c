"""Liquid mineral feed from wood ash: chemistry, amounts, limits and cautions."""

__version__ = "0.1.0"
