"""Problems of a pack: the shape of its entries, and how it stands on others."""

from __future__ import annotations

from typing import Final

from twogauge.packs.codes.code import Code

_GOGGLES: Final = "  goggles: {text: Wear goggles., source: common practice}\n"

_BELT: Final = (
    "pack: shop\nfaults:\n  belt:\n    title: Belt torn\n    how_common: rare\n    what_happens: It stands.\n"
    "    source: from memory\n"
)

_BAND: Final = (
    "    level: high_side_level\n    normal: [10 K, 30 K]\n    edge: 4 K\n    baseline: 4 K\n    source: our log\n"
)
_OTHER: Final = "# other/pack.yaml:\npack: other\n"
_SHOP: Final = "# shop/pack.yaml:\npack: shop\n"
_CHANGE: Final = "adjust:\n  high_far: {note: Ours leak., says: {leak: slightly for}}\n"

CODES: Final = (
    Code(
        "shape",
        "A text or a list stands where lines of 'key: value' belong.",
        "pack: shop\ncautions: goggles\n",
        f"pack: shop\ncautions:\n{_GOGGLES}",
    ),
    Code(
        "unknown-key",
        "This key means nothing here; misspelled, it would be passed over in silence.",
        "when:\n  condensing_over_ambient: {below: 5 K, sofft: 2 K}\n",
        "when:\n  condensing_over_ambient: {below: 5 K, soft: 2 K}\n",
    ),
    Code(
        "missing-key",
        "An entry lacks a key that it cannot do without.",
        "pack: shop\ncautions:\n  goggles: {short: Goggles., source: common practice}\n",
        f"pack: shop\ncautions:\n{_GOGGLES}",
    ),
    Code(
        "header",
        "No file of the folder says 'pack: name', so nobody can build on it or name it.",
        f"cautions:\n{_GOGGLES}",
        f"pack: shop\ncautions:\n{_GOGGLES}",
    ),
    Code(
        "format",
        "The pack was written for a newer version of this program, and might be misunderstood.",
        "pack: shop\nformat: 9999\n",
        "pack: shop\nformat: 1\n",
    ),
    Code(
        "link",
        "A link leads out of the pack, or to a folder: what it brings in is not part of what was handed on.",
        "$ ln -s /etc/hosts more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "id",
        "An id is small letters and digits, words joined by _, no longer than 80 characters.",
        "pack: shop\ncautions:\n  Wear Goggles: {text: Wear goggles., source: common practice}\n",
        f"pack: shop\ncautions:\n{_GOGGLES}",
    ),
    Code(
        "duplicate",
        "Two entries have the same id, or a pack stands in the stack twice; only one could count. An entry of another "
        "pack is changed with 'adjust'.",
        "pack: shop\ncautions:\n  gloves: {text: Wear long gloves., source: common practice}\n",
        "pack: shop\nadjust:\n  gloves:\n    note: Ours are long.\n    text: Wear long gloves.\n",
    ),
    Code(
        "unheeded",
        "An applies_to at the top of a file holds for its rules only, and here other entries stand below it.",
        f"pack: shop\napplies_to: {{system: bus_ac}}\nbands:\n  ours:\n{_BAND}",
        f"pack: shop\nbands:\n  ours:\n    applies_to: {{system: bus_ac}}\n{_BAND}",
    ),
    Code(
        "builds-on",
        "The pack builds on one that is not below it, or on a newer edition than the one that is.",
        "pack: shop\nbuilds_on: {gruond: 1}\n",
        "pack: shop\nbuilds_on: {ground: 1}\n",
    ),
    Code(
        "unknown-id",
        "The pack adjusts or disables something that does not exist, so its change changes nothing.",
        "pack: shop\nadjust:\n  high_fra:\n    note: Our bay is hot.\n    says: {leak: against}\n",
        "pack: shop\nadjust:\n  high_far:\n    note: Our bay is hot.\n    says: {leak: against}\n",
    ),
    Code(
        "note",
        "A change says why: the note is printed wherever it moved an answer.",
        "pack: shop\ndisable:\n  high_far: {}\n",
        "pack: shop\ndisable:\n  high_far:\n    note: We only see machines that were charged the same morning.\n",
    ),
    Code(
        "disable",
        "Rules, gates and bands can be disabled; faults, checks and cautions cannot, since rules speak of them.",
        "pack: shop\ndisable:\n  leak:\n    note: Ours never leak.\n",
        "pack: shop\nadjust:\n  leak:\n    note: Ours hardly leak.\n    how_common: rare\n",
    ),
    Code(
        "conflict",
        "The same value is changed twice, and neither change comes first.",
        "pack: shop\nadjust:\n  glass_bubbles: {note: We fill by the glass., says: {leak: strongly for}}\n"
        "  glass_foams: {note: Ours always foam., says: {leak: slightly for}}\n",
        "pack: shop\nadjust:\n  glass_bubbles: {note: Ours always foam., says: {leak: slightly for}}\n",
    ),
    Code(
        "own",
        "A pack changes an entry of its own; it is changed where it stands.",
        f"pack: shop\ncautions:\n{_GOGGLES}adjust:\n  goggles: {{note: Ours are tight., text: Wear tight goggles.}}\n",
        "pack: shop\ncautions:\n  goggles: {text: Wear tight goggles., source: common practice}\n",
    ),
    Code(
        "extend",
        "Only lists can be extended, and with what is not in them yet; a single value is changed with 'adjust'.",
        "pack: shop\nextend:\n  leak: {note: We see more of them., how_common: usual}\n",
        "pack: shop\nadjust:\n  leak: {note: We see more of them., how_common: usual}\n",
    ),
    Code(
        "formerly",
        "A former id leads to one entry, and to none while an entry still has it.",
        f"{_BELT}    formerly: leak\n",
        f"{_BELT}    formerly: fan_belt\n",
    ),
    Code(
        "renamed",
        "What the pack changes has a new name by now; the change is applied, and the old name will be forgotten.",
        "pack: shop\nadjust:\n  glass_foams: {note: Ours always foam., says: {leak: slightly for}}\n",
        "pack: shop\nadjust:\n  glass_bubbles: {note: Ours always foam., says: {leak: slightly for}}\n",
        "warning",
    ),
    Code(
        "changed-since",
        "The entry that the pack adjusts has changed its meaning in a later edition; look whether the change still "
        "fits, then raise the edition under builds_on.",
        "pack: shop\nbuilds_on: {ground: 1}\nadjust:\n  high_far: {note: Our bay is hot., says: {leak: for}}\n",
        "pack: shop\nbuilds_on: {ground: 2}\nadjust:\n  high_far: {note: Our bay is hot., says: {leak: for}}\n",
        "warning",
    ),
    Code(
        "changed-twice",
        "Two packs that do not know of each other change the same value; the later one counts.",
        f"{_OTHER}adjust:\n  high_far: {{note: Hot bay., says: {{leak: for}}}}\n{_SHOP}{_CHANGE}",
        f"{_OTHER}adjust:\n  high_far: {{note: Hot bay., says: {{leak: for}}}}\n{_SHOP}builds_on: {{other: 1}}\n{_CHANGE}",
        "warning",
    ),
    Code(
        "no-effect",
        "A pack changes or disables what a pack below it has disabled.",
        f"{_OTHER}disable:\n  high_far: {{note: Never seen.}}\n{_SHOP}{_CHANGE}",
        f"{_OTHER}disable:\n  glass_bubbles: {{note: Never seen.}}\n{_SHOP}{_CHANGE}",
        "warning",
    ),
)
