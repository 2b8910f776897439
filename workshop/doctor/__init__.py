"""Look at everything that has to be right, and say in words what is not and what mends it."""
