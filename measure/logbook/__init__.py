"""Everything that is kept on disk: rig, takes, the folder that holds them."""
