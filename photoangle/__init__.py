"""Photoangle: angles of a car's suspension parts from photos of printed markers."""

__version__ = "0.1.0"
