"""From a logbook to an answer."""
