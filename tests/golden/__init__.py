"""What the program says and writes today, scene by scene, and how it is compared."""
