"""A tag's corners to the limit of the pixels: its whole pattern aligned with the picture."""
