"""Parts with their values and gradients, used by fits and predictions."""
