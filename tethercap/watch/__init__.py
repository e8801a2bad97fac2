"""Watching film in the live view: edges, alignment, motion, decision."""
