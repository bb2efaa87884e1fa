"""A pack of one rule, as a shop would write it, for tests that take one as text."""

from __future__ import annotations

OWN_PACK = """pack: our_shop
topic: hoses
rules:
  hose_is_warm:
    title: The suction hose is warm
    when: {superheat: {above: 15 K, soft: 2 K}}
    says: {low_charge: for}
    because: A warm hose starves.
    source: common practice
    examples:
      holds: [{superheat: 30 K}]
      does_not_hold: [{superheat: 2 K}]
"""
