"""The bench in a window: pages in the person's own browser, served by this program to this machine alone."""
