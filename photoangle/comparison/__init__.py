"""One measurement against another; a season's history."""
