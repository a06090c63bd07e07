"""What would a change do."""
