"""One extractor a module."""
