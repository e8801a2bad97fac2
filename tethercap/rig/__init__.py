"""The copy rig: optics, light, and what was measured on it."""
