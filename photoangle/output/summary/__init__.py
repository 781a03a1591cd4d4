"""What each command opens with: the answer in a sentence or two, one picture, what to do next."""
