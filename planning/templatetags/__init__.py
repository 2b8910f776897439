"""Template tags of planning."""
