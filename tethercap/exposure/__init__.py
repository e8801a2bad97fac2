"""Brand-free words and values of an exposure: aperture, shutter, ISO, image format."""
