"""Pages of the jobs app, a module per noun."""
