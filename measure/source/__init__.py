"""Where samples come from: sound card, files, virtual bench; one interface."""
