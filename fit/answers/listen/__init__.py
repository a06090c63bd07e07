"""How would a change sound."""
