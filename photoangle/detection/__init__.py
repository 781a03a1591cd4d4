"""Pixels to tags, card corners and dots, each with its covariance; how good a photo is."""
