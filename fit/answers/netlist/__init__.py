"""A pickup or an instrument for other programs."""
