"""Pages of cases and of impact."""
