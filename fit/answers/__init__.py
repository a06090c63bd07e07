"""One question a file; plain data in, plain data out."""
