"""The camera and the paper: what is printed, and how a lens sees it."""
