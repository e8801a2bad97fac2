"""The camera, as the rest of the program sees it, and the process that drives it."""
