"""Work on many pictures at once: jobs and the pools that run them."""
