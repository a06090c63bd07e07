"""Is a part within its marking."""
