"""What a guitar's electronics do to a signal."""
