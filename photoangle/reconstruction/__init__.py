"""Detections to poses with their covariance: one least-squares problem for each state."""
