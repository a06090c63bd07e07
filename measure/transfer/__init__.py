"""From recordings to a response, and calibration."""
