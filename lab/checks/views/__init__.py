"""Pages of measuring systems, their checks, and check procedures."""
