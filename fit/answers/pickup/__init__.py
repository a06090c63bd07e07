"""What is it: one pickup or a whole instrument."""
