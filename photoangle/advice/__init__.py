"""What is wrong, and what to do next."""
