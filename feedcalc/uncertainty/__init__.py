"""Uncertain quantities: estimates, stratified samples, Bayesian updating, and work in steps."""
