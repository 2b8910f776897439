"""Pages of the planner."""
