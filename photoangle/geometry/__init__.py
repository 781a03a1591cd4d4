"""Poses to joints, directions and axes: what the markers say of the car's parts."""
