"""A logbook turned into evidence."""
