"""From a RAW of film to a positive: base, density, colour, tone, crop."""
