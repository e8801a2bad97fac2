"""Widgets, one a file."""
