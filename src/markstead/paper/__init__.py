"""Sheets out, photographs in: one layout from which the printing and the reading take every coordinate."""
