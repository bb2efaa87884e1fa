"""Problems of one entry: names, quantities, weights and words that mean nothing, or something else than meant."""

from __future__ import annotations

from typing import Final

from twogauge.packs.codes.code import Code

_BAND: Final = "pack: shop\nbands:\n  ours:\n    level: high_side_level\n    source: our log\n    baseline: 4 K\n"
_SHIFT: Final = (
    "      - field: humidity\n        above: 50 %\n        each: EACH\n        low: 1 K\n        high: 1 K\n"
    "        steps: 4\n"
)
_CHECK: Final = "    ask: Does it squeal?\n    how: Listen.\n    source: common practice\n"
_FAULT: Final = "    title: Belt torn\n    what_happens: It stands.\n    source: common practice\n"
_CRITERION: Final = (
    "pack: shop\ncriteria:\n  ours:\n    title: The vacuum holds\n    test: vacuum_hold\n    within: 10 min\n"
    "    source: our log\n"
)
_PLAN: Final = (
    "pack: shop\nplans:\n  ours:\n    title: Our job\n    about: Always.\n    source: our log\n    steps:\n"
    "      recover:\n        why: The law.\n        source: our log\n"
)
_PROFILE: Final = "pack: shop\nprofiles:\n  bus_4:\n    title: Bus 4\n    source: our log\n"
_GATE: Final = (
    "pack: shop\ngates:\n  windy:\n    title: Wind\n    when: {ambient: {below: 0 degC}}\n    because: It blows.\n"
    "    instead: Wait.\n    source: common practice\n    examples:\n      holds: [{ambient: -10 degC}]\n"
    "      does_not_hold: [{ambient: 20 degC}]\n"
)


def _case(reading: str, expect: str) -> str:
    case = f"- reading: {reading}\n  expect: {expect}\n  source: our log\n"
    return f"# shop/pack.yaml:\npack: shop\n# shop/cases/hot_days.yaml:\n{case}"


CODES: Final = (
    # -- names ------------------------------------------------------------------------------------------------
    Code(
        "unknown-fault",
        "A rule or fault names a fault that no pack has.",
        "says:\n  leek: for\n",
        "says:\n  leak: for\n",
    ),
    Code(
        "unknown-check",
        "What is to be looked at next is neither a check nor a field of a reading.",
        "check_next: [galss]\n",
        "check_next: [glass]\n",
    ),
    Code(
        "unknown-quantity",
        "A condition, a reason or a band names a quantity or check that does not exist.",
        "when:\n  condensing_over_ambeint: {below: 5 K}\n",
        "when:\n  condensing_over_ambient: {below: 5 K}\n",
    ),
    Code(
        "unknown-answer",
        "The check, level or field can never be this word.",
        "when:\n  glass: {is: bubbels}\n",
        "when:\n  glass: {is: bubbles}\n",
    ),
    Code(
        "unknown-caution",
        "A fault or check names a caution that no pack has.",
        f"pack: shop\nfaults:\n  belt:\n{_FAULT}    how_common: rare\n    cautions: [glovse]\n",
        f"pack: shop\nfaults:\n  belt:\n{_FAULT}    how_common: rare\n    cautions: [gloves]\n",
    ),
    Code(
        "unknown-topic",
        "A gate silences a topic that no rule has.",
        f"{_GATE}    silences: [hihg]\n",
        f"{_GATE}    silences: [high]\n",
    ),
    Code(
        "unknown-level",
        "A band is the yardstick of a level that does not exist.",
        f"{_BAND}    normal: [10 K, 30 K]\n    edge: 4 K\n".replace("high_side_level", "hihg_side_level"),
        f"{_BAND}    normal: [10 K, 30 K]\n    edge: 4 K\n",
    ),
    Code(
        "unknown-field",
        "An applies_to or a shift names a field that a reading does not have, or one without words to choose from.",
        "applies_to: {sytsem: bus_ac}\n",
        "applies_to: {system: bus_ac}\n",
    ),
    Code(
        "unknown-word",
        "The field has other words to choose from.",
        "applies_to: {system: buss_ac}\n",
        "applies_to: {system: bus_ac}\n",
    ),
    Code(
        "unknown-refrigerant",
        "The refrigerant is not in the catalogue; `twogauge refrigerants` lists them.",
        "applies_to: {refrigerant: Q134a}\n",
        "applies_to: {refrigerant: [R12]}\n",
    ),
    Code(
        "taken-id",
        "A check bears the name of a field or quantity, and a reading could not tell the two apart.",
        f"pack: shop\nchecks:\n  ambient:\n    title: Air\n    effort: glance\n{_CHECK}",
        f"pack: shop\nchecks:\n  feel_of_the_air:\n    title: Air\n    effort: glance\n{_CHECK}",
    ),
    # -- quantities -------------------------------------------------------------------------------------------
    Code(
        "not-a-number",
        "A number belongs here.",
        "when:\n  condensing_over_ambient: {below: five}\n",
        "when:\n  condensing_over_ambient: {below: 5 K}\n",
    ),
    Code(
        "unknown-unit",
        "The unit is not known, or belongs to another kind of quantity.",
        "when:\n  condensing_over_ambient: {below: 5 kelvins over}\n",
        "when:\n  condensing_over_ambient: {below: 5 K}\n",
    ),
    Code(
        "missing-unit",
        "A rule is read long after it was written, so a bare number is not enough.",
        "when:\n  condensing_over_ambient: {below: 5}\n",
        "when:\n  condensing_over_ambient: {below: 5 K}\n",
    ),
    Code(
        "wrong-dimension",
        "A quantity of another kind belongs here: most often a temperature was written for a difference.",
        "when:\n  condensing_over_ambient: {below: 5 degC}\n",
        "when:\n  condensing_over_ambient: {below: 5 K}\n",
    ),
    Code(
        "out-of-range",
        "No gauge or thermometer ever shows this; a unit or a digit slipped.",
        "when:\n  ambient: {above: 3000 degC}\n",
        "when:\n  ambient: {above: 30 degC}\n",
    ),
    Code(
        "raw-pressure",
        "A pressure by itself means something for one refrigerant only: name it, or use a level, a saturation "
        "temperature or kelvin over ambient.",
        "when:\n  high_side: {below: 100 psi}\n",
        "applies_to: {refrigerant: [R12]}\nwhen:\n  high_side: {below: 100 psi}\n",
    ),
    Code(
        "empty-interval",
        "The upper end does not lie above the lower one.",
        "when:\n  condensing_over_ambient: {between: [30 K, 15 K]}\n",
        "when:\n  condensing_over_ambient: {between: [15 K, 30 K]}\n",
    ),
    Code(
        "soft-edge",
        "A soft edge is negative, has no edge to belong to, or is softer than the condition is wide, so that the "
        "condition is never as good as sure.",
        "when:\n  condensing_over_ambient: {between: [15 K, 20 K], soft: 10 K}\n",
        "when:\n  condensing_over_ambient: {between: [15 K, 30 K], soft: 3 K}\n",
    ),
    # -- conditions and weights -------------------------------------------------------------------------------
    Code(
        "wrong-test",
        "Words are tested with is, is_not or any_of, numbers with above, below or between; one condition is of one "
        "kind.",
        "when:\n  condensing_over_ambient: {is: low}\n",
        "when:\n  high_side_level: {is: low}\n",
    ),
    Code(
        "empty-list",
        "An empty list would apply to nothing; leave the key out, or name a word.",
        "applies_to: {system: []}\n",
        "applies_to: {system: [bus_ac]}\n",
    ),
    Code(
        "weight",
        "A weight is a word with for or against, or a number of decibans.",
        "says:\n  leak: very much\n",
        "says:\n  leak: strongly for\n",
    ),
    Code(
        "weight-limit",
        "No single sight may say more than 20 dB, a hundred to one.",
        "says:\n  leak: 30 dB\n",
        "says:\n  leak: 10 dB\n",
    ),
    Code(
        "braces",
        "Braces in a reason hold the name of one quantity or check, and nothing else: no format, no attribute.",
        "because: It condenses {condensing_over_ambient:.1f} above the air.\n",
        "because: It condenses {condensing_over_ambient} above the air.\n",
    ),
    Code(
        "no-source",
        "Every entry says where it comes from: a document, 'common practice' or 'from memory'.",
        "source: {}\n",
        "source: from memory\n",
    ),
    Code(
        "no-examples",
        "A rule or gate carries readings under 'holds' and under 'does_not_hold', so that it can be tested.",
        "examples:\n  holds: [{high_side: low}]\n",
        "examples:\n  holds: [{high_side: low}]\n  does_not_hold: [{high_side: high}]\n",
    ),
    Code(
        "example",
        "An example is no reading: a field, a value or an answer in it is not known.",
        "examples:\n  holds: [{high_sied: low}]\n  does_not_hold: [{high_side: high}]\n",
        "examples:\n  holds: [{high_side: low}]\n  does_not_hold: [{high_side: high}]\n",
    ),
    Code(
        "reading",
        "A case holds something that is no reading.",
        _case("{high_sied: high}", "{not_first: leak}"),
        _case("{high_side: high}", "{not_first: leak}"),
    ),
    Code(
        "unknown-rule",
        "A case names a rule that no pack has.",
        _case("{high_side: high}", "{silent: high_fra}"),
        _case("{high_side: high}", "{silent: high_far}"),
    ),
    # -- other entries ----------------------------------------------------------------------------------------
    Code(
        "value",
        "Something else belongs here: another word, a list, a text, or a number of a certain size.",
        f"pack: shop\nfaults:\n  belt:\n{_FAULT}    how_common: rare\n    serious: very\n",
        f"pack: shop\nfaults:\n  belt:\n{_FAULT}    how_common: rare\n    serious: damage\n",
    ),
    Code(
        "whole-number",
        "An edition, a format or a count is a whole number.",
        "pack: shop\nedition: second\n",
        "pack: shop\nedition: 2\n",
    ),
    Code(
        "answers",
        "A check needs at least two answers; 'unknown' is always allowed and not listed.",
        f"pack: shop\nchecks:\n  squeal:\n    title: Squeal\n    effort: glance\n    answers: {{yes: yes}}\n{_CHECK}",
        f"pack: shop\nchecks:\n  squeal:\n    title: Squeal\n    effort: glance\n{_CHECK}",
    ),
    Code(
        "nothing-wrong",
        "Exactly one entry under faults is the hypothesis that nothing is wrong, and it applies to every system.",
        f"pack: shop\nfaults:\n  fine:\n{_FAULT}    how_common: usual\n    nothing_wrong: yes\n",
        f"pack: shop\nfaults:\n  belt:\n{_FAULT}    how_common: rare\n",
    ),
    Code(
        "profile",
        "A machine is described by fields that a reading does not have, or by values they cannot take.",
        f"{_PROFILE}    is: {{system: submarine}}\n",
        f"{_PROFILE}    is: {{system: bus_ac}}\n",
    ),
    Code(
        "criterion",
        "What a vacuum or a pressure test must show is missing, or is no pressure, pressure difference or time.",
        f"{_CRITERION}",
        f"{_CRITERION}    rises: 500 micron\n",
    ),
    Code(
        "plan",
        "A step of a plan follows one that does not exist, or itself, or names a value that is not known here.",
        f"{_PLAN}        do: Recover the {{refrigerent}}.\n",
        f"{_PLAN}        do: Recover the {{refrigerant}}.\n",
    ),
    Code(
        "band-ends",
        "A band has either two ends of normal, or at least two rows of them by ambient temperature.",
        f"{_BAND}    edge: 4 K\n",
        f"{_BAND}    edge: 4 K\n    normal: [10 K, 30 K]\n",
    ),
    Code(
        "band-rows",
        "The rows of a band rise in ambient temperature.",
        f"{_BAND}    edge: 4 K\n    normal_at:\n      - {{ambient: 30 degC, normal: [10 K, 30 K]}}\n"
        "      - {ambient: 20 degC, normal: [12 K, 32 K]}\n",
        f"{_BAND}    edge: 4 K\n    normal_at:\n      - {{ambient: 20 degC, normal: [12 K, 32 K]}}\n"
        "      - {ambient: 30 degC, normal: [10 K, 30 K]}\n",
    ),
    Code(
        "band-width",
        "The edge of a band is no less than zero, and the half-width around a known-good reading is more.",
        f"{_BAND}    edge: -4 K\n    normal: [10 K, 30 K]\n",
        f"{_BAND}    edge: 4 K\n    normal: [10 K, 30 K]\n",
    ),
    Code(
        "band-around",
        "A band can be counted from a quantity of the same kind, and not from itself.",
        f"{_BAND}    edge: 4 K\n    normal: [-3 K, 3 K]\n    around: ambient\n",
        f"{_BAND}    edge: 4 K\n    normal: [-3 K, 3 K]\n    around: liquid_over_ambient\n",
    ),
    Code(
        "shift",
        "The ends of a band move from one value of a field upward or downward, in steps greater than zero.",
        f"{_BAND}    edge: 4 K\n    normal: [10 K, 30 K]\n    shifts:\n{_SHIFT.replace('EACH', '0 %')}",
        f"{_BAND}    edge: 4 K\n    normal: [10 K, 30 K]\n    shifts:\n{_SHIFT.replace('EACH', '10 %')}",
    ),
)
