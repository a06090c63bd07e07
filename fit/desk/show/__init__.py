"""Chooses a word, a column, a colour."""
