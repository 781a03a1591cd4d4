"""Makes the demo photos of an invented car, with exact truth."""
