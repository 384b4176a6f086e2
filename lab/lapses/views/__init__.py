"""Pages about what was found on sessions."""
