"""Refrigerants: saturation temperature from pressure and back, facts with their sources, and how far to trust them.

Reads the curves that ship with the package and nothing else: no property library, no network, no guessing of names.
"""

from __future__ import annotations

from twogauge.refrigerants.catalogue import GRADES, Phase, Refrigerant, Summary, get, names, summaries
from twogauge.refrigerants.curves import Place

__all__ = ["GRADES", "Phase", "Place", "Refrigerant", "Summary", "get", "names", "summaries"]
