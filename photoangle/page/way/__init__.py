"""The way through the job: its stations, and what to do next."""
