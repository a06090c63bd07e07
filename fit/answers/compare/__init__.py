"""What did a job change."""
