"""The plumb: where it hangs elsewhere in each photo, and what it is held against."""
