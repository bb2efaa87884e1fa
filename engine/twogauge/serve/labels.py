"""Names of fields, and words of their choices, as they are read."""

from __future__ import annotations


def label_of(name: str) -> str:
    """Return a field's name as it is read."""
    return name.replace("_", " ").capitalize()


def word_of(word: str) -> str:
    """Return a word of a choice as it is read."""
    return word.replace("_", " ").replace(" ac", " A/C")
