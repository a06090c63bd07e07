"""Asks the person what comes next."""
