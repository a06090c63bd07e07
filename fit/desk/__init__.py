"""What people meet: commands, plots, report."""
