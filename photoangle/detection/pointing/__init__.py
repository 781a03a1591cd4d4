"""A place pointed at in one photo: refined there, and found again in the others of its state."""
