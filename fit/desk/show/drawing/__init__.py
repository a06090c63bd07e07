"""The schematic of an instrument: its parts, where they stand, and the SVG of it."""
