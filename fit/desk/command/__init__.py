"""Commands: reads what was typed."""
