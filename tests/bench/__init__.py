"""Benchmarks: commands that print ratios from one run.  Never timed assertions."""
