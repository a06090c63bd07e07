"""Which component values the responses tell of, and how surely."""
