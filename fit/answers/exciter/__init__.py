"""Which coil drives the pickup."""
