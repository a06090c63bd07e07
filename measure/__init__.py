"""From a stimulus to a response with its error bars; knows nothing of circuits or guitars."""
