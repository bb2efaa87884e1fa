"""What drafts look like as files, with comments for whoever reads on in them."""

from __future__ import annotations

import json
import re
import shlex
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from twogauge.errors import InputError, shown
from twogauge.packs.model import FORMAT

TEST_KEYS: Final = ("above", "below", "between", "soft", "is", "is_not", "any_of")
_RANGE = re.compile(r"(.*?\S)\s*\.{2,3}\s*(\S.*)", re.DOTALL)  # 15K..30K


@dataclass(frozen=True)
class Draft:
    """A rule as somebody tells it; texts as they would stand in its file.

    Attributes:
        id: of the rule; also the name of its file.
        name: the quantity or check it looks at.
        test: above, below, between (two ends), soft, is, is_not or any_of.
        says, otherwise: fault -> weight.
        title, because, source, topic: "" takes what suits.
        applies_to: field -> words.
        question: of a new check called `name`, answered yes or no; "" where it exists.
    """

    id: str
    name: str
    test: Mapping[str, str | tuple[str, str]]
    says: Mapping[str, str]
    otherwise: Mapping[str, str] = field(default_factory=dict)
    title: str = ""
    because: str = ""
    source: str = ""
    topic: str = ""
    applies_to: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    question: str = ""


@dataclass(frozen=True)
class Proof:
    """Readings that prove a rule, as they stand under `examples`."""

    holds: Sequence[Mapping[str, str]]
    does_not_hold: Sequence[Mapping[str, str]]
    cannot_say: Sequence[Mapping[str, str]]


def pack_text(folder: Path, name: str, title: str) -> str:
    """Return the file of a pack that holds nothing yet, with the changes it may make in comments."""
    from twogauge.packs.stack import built_in  # noqa: PLC0415

    stack, typed = built_in(), shlex.quote(str(folder))
    ground = ", ".join(f"{header.pack}: {header.edition}" for header in stack.packs)
    rules = iter(sorted(stack.rules.values(), key=lambda rule: (-len(rule.entry.says), rule.id)))
    changed, gone = next(rules), next(rules)
    fault = next(iter(changed.entry.says))
    return f"""\
# What is different here from the rules that come with twogauge; nothing of them is copied.
#
#   twogauge rules test {typed}                      after each change, and after each new version
#   twogauge diagnose READING.yaml --rules {typed}   or name the folder in TWOGAUGE_RULES
#   twogauge rules new {typed}                       one rule more, by question and answer
#
# Besides rules of its own a pack may change what lies below it, always with a note that says why:
#
#   adjust:                              # other values in an entry; the rest stays as it is
#     {changed.id}:
#       note: With us it says less.
#       says: {{{fault}: slightly for}}
#   extend:                              # more in a list: confirm, repair, cautions, answers, ...
#     {fault}:
#       note: We know a place to look at first.
#       confirm: Look at the hoses on the roof.
#   disable:                             # takes a rule, a gate or a band out
#     {gone.id}:
#       note: We never see it.

pack: {name}
title: {_scalar(title or name.replace("_", " ").capitalize())}

# Raise it when a change asks those who build on this pack to look again.
edition: 1
format: {FORMAT}

# The editions this was written against; a later one that changes what is adjusted here is told.
builds_on: {{{ground}}}
"""


def rule_text(folder: Path, draft: Draft, proof: Proof) -> str:
    """Return the file of a rule, and of the check it looks at if that is new."""
    typed = shlex.quote(str(folder))
    check = _check_text(draft) if draft.question else ""
    lines = [
        f"# {draft.title}.".replace("..", "."),
        "#",
        f"#   twogauge rules test {typed}        after each change",
        f"#   twogauge rules why {draft.id} READING.yaml --rules {typed}",
        "",
        *([check] if check else []),
        "# Rules of one topic look at the same thing: only the strongest of them counts for each fault.",
        f"topic: {draft.topic}",
        "",
        "rules:",
        f"  {draft.id}:",
        f"    title: {_scalar(draft.title)}",
        "    # All that stands here must hold. `soft` says how far from the edge it is as good as sure.",
        "    when:",
        f"      {draft.name}: {{{test_text(draft.test)}}}",
        "    # For or against a fault: slightly, plain, strongly or decisively. What a sound machine shows as well",
        "    # speaks little; what it never shows speaks against `normal`.",
        "    says:",
        *(f"      {fault}: {_scalar(weight)}" for fault, weight in draft.says.items()),
        *(["    otherwise:"] if draft.otherwise else []),
        *(f"      {fault}: {_scalar(weight)}" for fault, weight in draft.otherwise.items()),
        "    # The reason that is printed; a name in braces becomes its value in the reader's units.",
        "    because: >",
        *_folded(draft.because, "      "),
        *(["    applies_to:"] if draft.applies_to else []),
        *(f"      {name}: [{', '.join(words)}]" for name, words in draft.applies_to.items()),
        "    # A document, `common practice`, `from memory`, or our own experience and how much of it.",
        "    source:",
        *([f"      numbers: {_scalar(draft.source)}"] if not _in_words(draft.test) else []),
        f"      weights: {_scalar(draft.source)}",
        "    since: 1",
        "    # Readings that prove it; `twogauge rules test` runs them.",
        "    examples:",
    ]
    for kind in ("holds", "does_not_hold", "cannot_say"):
        readings: Sequence[Mapping[str, str]] = getattr(proof, kind)
        lines += [f"      {kind}:"] if readings else []
        lines += [f"        - {_flow(reading)}" for reading in readings]
    return "\n".join(lines) + "\n"


def _check_text(draft: Draft) -> str:
    title = draft.name.replace("_", " ").capitalize()
    return f"""\
checks:
  {draft.name}:
    title: {_scalar(title)}
    ask: {_scalar(draft.question)}
    # How it is done, so that everybody does it alike.
    how: {_scalar(f"Look, feel or try: {draft.question}")}
    # glance, easy, some or much
    effort: easy
    # Work that can hurt somebody names its cautions here; `twogauge rules list --kind caution` lists them.
    cautions: []
    source: {_scalar(draft.source or "from memory")}
"""


def _in_words(test: Mapping[str, Any]) -> bool:
    return not {"above", "below", "between"} & set(test)


def test_text(test: Mapping[str, str | tuple[str, str]]) -> str:
    """Return a condition as it stands in braces."""
    parts = []
    for key in TEST_KEYS:
        value = test.get(key)
        if value is not None:
            text = f"[{', '.join(map(_scalar, value))}]" if isinstance(value, tuple) else _scalar(value)
            parts.append(f"{key}: {text}")
    return ", ".join(parts)


def _flow(reading: Mapping[str, str]) -> str:
    return "{" + ", ".join(f"{name}: {_scalar(str(value))}" for name, value in reading.items()) + "}"


def _scalar(text: str) -> str:
    """Write a text on one line so that the same text is read again."""
    flat = " ".join(text.split())
    plain = re.fullmatch(r"[A-Za-z0-9][^:#{}\[\],&*!|>'\"%@`\\]*", flat) is not None
    return flat if plain and not flat.endswith(" ") else json.dumps(flat, ensure_ascii=False)


def _folded(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()), 112, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )


def two_ends(text: str) -> tuple[str, str]:
    """Read `15K..30K`, `15 K to 30 K` or `15..30 K`.

    Raises:
        InputError: there are no two ends.
    """
    found = _RANGE.fullmatch(re.sub(r"\s+(?:to|and)\s+", "..", text.strip()))
    if found is None:
        raise InputError(f"{shown(text)}: write two ends, such as 15K..30K")
    low, high = found[1], found[2]
    unit = re.search(r"[A-Za-z%].*$", high)
    if unit is not None and not any(c.isalpha() or c == "%" for c in low):
        low = f"{low}{unit[0]}"
    return spaced(low), spaced(high)


def spaced(text: str) -> str:
    """Write `15K` as `15 K`, the way it stands in a file."""
    return re.sub(
        r"^([-+\u2212]?[\d.,]+)\s*(?=[A-Za-z%])", lambda match: f"{match[1].replace(chr(0x2212), '-')} ", text.strip()
    )
