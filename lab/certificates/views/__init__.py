"""Pages of the certificates app, a module per noun."""
