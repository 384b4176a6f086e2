"""Letters to customers: their content, as text, and on paper."""
