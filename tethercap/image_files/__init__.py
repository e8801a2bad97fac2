"""The only doors to RAW, TIFF, JPEG and picture metadata."""
