"""Responses as text: tables and Touchstone."""
