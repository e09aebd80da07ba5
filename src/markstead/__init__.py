"""Markstead: the desk of an educator at home."""

__version__ = "0.1.0"
