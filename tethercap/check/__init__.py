"""Findings about a RAW that was pulled: did it come out as it was meant to."""
