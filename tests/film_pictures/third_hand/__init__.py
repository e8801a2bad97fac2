"""Film in a holder, drawn from its physics: light on film, density, light through film, lens, sensor.

The third drawing; it shares nothing with the others but the shape of a case and of a place.
"""
