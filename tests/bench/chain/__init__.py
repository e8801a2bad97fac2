"""The whole chain under load: real driver, simulated camera, workers, a roll; killed, or run for a long time."""
