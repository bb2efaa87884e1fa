"""Showing results: each format is a function from a result to text; nothing here computes."""
