"""Samples, spectra, mains lines, noise and levels."""
