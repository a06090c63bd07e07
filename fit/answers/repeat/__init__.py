"""How well does this bench repeat itself."""
