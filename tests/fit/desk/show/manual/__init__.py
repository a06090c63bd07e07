"""Tests of the manual: its Markdown, its topics, its pages."""
