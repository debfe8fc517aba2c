"""Figures known only roughly: estimates, samples of a prior, and Bayesian updating from readings."""
