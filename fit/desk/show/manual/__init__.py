"""The manual: a page a topic in Markdown beside this file, read, searched, and shown in a terminal or a browser."""
