"""Finding, reading and checking the profiles."""
