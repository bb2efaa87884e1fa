"""Packs that were sound before somebody's editor slipped a few times; for generated tests."""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import strategies as st

GROUND = Path(__file__).parent / "packs" / "bad" / "ground"
SHOP = """\
pack: shop
builds_on: {ground: 3}
adjust:
  high_far:
    note: >
      Our bay
      is hot.
    when:
      condensing_over_ambient: {above: 42 K}
    says: {leak: nothing}
"""

WORDS = (
    "high_far",
    "note",
    "when",
    "above",
    "is",
    "says",
    "leak",
    "38 K",
    "for",
    "yes",
    "[]",
    "{}",
    "",
    "\u00b2",
    "0",
)
ODD = st.one_of(
    st.sampled_from(WORDS), st.text(max_size=12), st.sampled_from(["{ambient}", "{0}", "[a, b]", "- x", ">"])
)


@st.composite
def mutated(draw):
    """A pack that was sound before somebody's editor slipped a few times."""
    source = draw(st.sampled_from([(GROUND / "pack.yaml").read_text("utf-8"), SHOP]))
    lines = source.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        slip = draw(st.sampled_from(["delete", "double", "move", "value", "key", "line", "word"]))
        line = lines[at]
        indent = line[: len(line) - len(line.lstrip())]
        if slip == "delete" and len(lines) > 1:
            del lines[at]
        elif slip == "double":
            lines.insert(at, line)
        elif slip == "move":
            lines[at] = draw(st.sampled_from(["", "  ", "        "])) + line.lstrip()
        elif slip == "value":
            lines[at] = f"{line.partition(':')[0]}: {draw(ODD)}"
        elif slip == "key":
            lines[at] = f"{indent}{draw(ODD)}:{line.partition(':')[2]}"
        elif slip == "line":
            lines.insert(at, f"{indent}{draw(ODD)}: {draw(ODD)}")
        else:
            words = re.split(r"(\w+)", line)
            lines[at] = "".join(draw(ODD) if i % 2 and draw(st.booleans()) else w for i, w in enumerate(words))
    return "\n".join(lines)
