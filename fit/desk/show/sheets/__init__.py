"""What is said of each answer."""
