"""What photos show that a model does not explain: changed pictures, several states in one folder, copies."""
