"""Screens: read a request, call records, render."""
