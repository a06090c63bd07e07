"""Every fault of a recording, and the judgement over them."""
