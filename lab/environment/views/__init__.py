"""Pages of the air of the rooms."""
