"""What are the input and the exciter."""
