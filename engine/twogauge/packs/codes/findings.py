"""Problems that only an author hears of: what loads, and can never matter or is likely not meant."""

from __future__ import annotations

from typing import Final

from twogauge.packs.codes.code import Code

_FAULT: Final = (
    "pack: shop\nfaults:\n  belt:\n    title: Belt torn\n    how_common: rare\n    what_happens: It stands still.\n"
    "    source: common practice\n"
)
_CHECK: Final = (
    "checks:\n  squeal:\n    title: Squeal\n    ask: Does it squeal?\n    how: Listen.\n    effort: glance\n"
    "    source: common practice\n"
)
_SQUEALS: Final = (
    "rules:\n  it_squeals:\n    topic: belt\n    title: It squeals\n    when: {squeal: {is: yes}}\n"
    "    says: {SAYS}\n    because: The belt slips.\n    source: common practice\n"
    "    examples:\n      holds: [{squeal: yes}]\n      does_not_hold: [{squeal: no}]\n"
)
_BUS_FAULT: Final = f"{_FAULT}    applies_to: {{system: bus_ac}}\n"
_NEAR: Final = (
    "rules:\n  near:\n    topic: high\n    title: Near\n    applies_to: {system: SYSTEM}\n"
    "    when: {condensing_over_ambient: {below: 5 K}}\n    says: {belt: for}\n    because: It stands.\n"
    "    source: common practice\n    examples:\n      holds: [{high_side: low}]\n"
    "      does_not_hold: [{high_side: high}]\n"
)
_RIVAL: Final = "# glass_bubbles is of this topic as well, with {glass: {is: bubbles}}\n# and says {leak: for}\n"
_GATE: Final = "# the gate cold silences the topic high below 10 degC, soft 2 K\n"
_GOGGLES: Final = "pack: shop\ncautions:\n  goggles:\n    text: Wear goggles.\n    source: common practice\n"

CODES: Final = (
    Code(
        "never-holds",
        "No reading can meet this condition, so the rule never speaks.",
        "when:\n  ambient: {above: 90 degC}\n",
        "when:\n  ambient: {above: 40 degC}\n",
    ),
    Code(
        "always-holds",
        "Every reading meets this condition, so it decides nothing.",
        "when:\n  glass: {any_of: [clear, bubbles]}\n",
        "when:\n  glass: {any_of: [bubbles]}\n",
    ),
    Code(
        "never-together",
        "Conditions of one rule, or a condition and its applies_to, exclude each other.",
        "when:\n  condensing_over_ambient: {above: 40 K}\n  condensing_saturation: {below: 30 degC}\n"
        "  ambient: {above: 20 degC}\n",
        "when:\n  condensing_over_ambient: {above: 40 K}\n  condensing_saturation: {below: 70 degC}\n"
        "  ambient: {above: 20 degC}\n",
    ),
    Code(
        "hardly-together",
        "A level and the quantity it is made of cannot both be like this on any usual range; only a maker's range for "
        "the day could allow it.",
        "when:\n  high_side_level: {is: high}\n  condensing_over_ambient: {below: 5 K}\n",
        "when:\n  high_side_level: {is: high}\n  condensing_over_ambient: {above: 38 K}\n",
        "warning",
    ),
    Code(
        "applies-elsewhere",
        "The rule speaks of a fault or check that exists only on systems the rule does not apply to.",
        f"{_BUS_FAULT}{_NEAR.replace('SYSTEM', 'car_ac')}",
        f"{_BUS_FAULT}{_NEAR.replace('SYSTEM', 'bus_ac')}",
        "warning",
    ),
    Code(
        "hidden",
        "Another rule of the topic holds wherever this one does and says as much, and only the strongest of a topic "
        "counts.",
        f"{_RIVAL}topic: glass\nwhen:\n  glass: {{is: bubbles}}\nsays:\n  leak: slightly for\n",
        f"{_RIVAL}topic: glass\nwhen:\n  glass: {{is: bubbles}}\nsays:\n  leak: strongly for\n",
        "warning",
    ),
    Code(
        "silenced",
        "Wherever the rule holds, a gate silences its topic.",
        f"{_GATE}topic: high\nwhen:\n  ambient: {{below: 0 degC}}\n",
        f"{_GATE}topic: weather\nwhen:\n  ambient: {{below: 0 degC}}\n",
        "warning",
    ),
    Code(
        "heavy-weight",
        "A weight of more than 12 dB, 16 to 1, rests on memory alone.",
        "says:\n  leak: 18 dB\nsource: from memory\n",
        "says:\n  leak: 18 dB\nsource: our own log, forty machines in two summers\n",
        "warning",
    ),
    Code(
        "says-nothing",
        "All weights of the rule are zero.",
        "says:\n  leak: nothing\n",
        "says:\n  leak: slightly for\n",
        "warning",
    ),
    Code(
        "same-either-way",
        "The rule speaks for a fault, or against it, whether it holds or not.",
        "says: {leak: for}\notherwise: {leak: slightly for}\n",
        "says: {leak: for}\notherwise: {leak: slightly against}\n",
        "warning",
    ),
    Code(
        "unsourced",
        "The rule names a source, but not for its weights, or not for the numbers in its conditions.",
        "source:\n  weights: common practice\n",
        "source:\n  weights: common practice\n  numbers: the maker's manual, page 12\n",
        "warning",
    ),
    Code(
        "fault-without-rule",
        "No rule speaks for the fault, so it is never found.",
        _FAULT,
        f"{_FAULT}{_CHECK}{_SQUEALS.replace('SAYS', 'belt: for')}",
        "warning",
    ),
    Code(
        "check-without-rule",
        "No rule looks at the check, so its answer moves nothing.",
        f"pack: shop\n{_CHECK}",
        f"pack: shop\n{_CHECK}{_SQUEALS.replace('SAYS', 'leak: against')}",
        "warning",
    ),
    Code(
        "caution-unused",
        "No fault and no check names the caution, so nobody ever reads it.",
        _GOGGLES,
        f"{_GOGGLES}adjust:\n  leak:\n    note: It sprays.\n    cautions: [gloves, goggles]\n",
        "warning",
    ),
    Code(
        "prose-number",
        "The title or the reason names a number that the condition beside it contradicts; one of them was changed and "
        "the other forgotten.",
        "title: The high side condenses less than 3 K over the air\nwhen:\n  condensing_over_ambient: {below: 8 K}\n",
        "title: The high side condenses less than 8 K over the air\nwhen:\n  condensing_over_ambient: {below: 8 K}\n",
        "warning",
    ),
)
