"""What is drawn of each answer."""
