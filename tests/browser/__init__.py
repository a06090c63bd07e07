"""The pages in a browser: marker browser."""
