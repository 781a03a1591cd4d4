"""Joints by motion: where joints and axes are, from how the markers moved between states."""
