"""The laboratory's pages, a module per noun."""
