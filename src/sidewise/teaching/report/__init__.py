"""The results of a sitting in words, pictures, a page and JSON."""
