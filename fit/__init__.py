"""From responses to answers."""
