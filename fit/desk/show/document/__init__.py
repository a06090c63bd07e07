"""The documents that ``--json`` prints, as types: each field is a key, its description and unit stand in the docstring."""
