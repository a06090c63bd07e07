"""Are pickups and switch wired as stated."""
