"""Tethered capture of film: watch, fire, pull, check, file, convert."""

__version__ = "0.1.0"
