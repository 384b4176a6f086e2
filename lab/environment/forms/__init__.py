"""Forms of the air of the rooms."""
