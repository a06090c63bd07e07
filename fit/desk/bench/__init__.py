"""Makes or keeps takes, rig and calibration."""
