"""Notebooks that travel with the package, kept without outputs."""
