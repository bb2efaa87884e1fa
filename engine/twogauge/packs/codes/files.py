"""Problems of a file by itself: its bytes, its characters, its YAML."""

from __future__ import annotations

from typing import Final

from twogauge.packs.codes.code import Code

_GLOVES: Final = "cautions:\n  goggles: {text: Wear goggles., source: common practice}\n"
_DEEP: Final = 12

CODES: Final = (
    Code(
        "encoding",
        "The file is not UTF-8, so nobody can say which characters it holds.",
        "$ printf 'cautions: {}  # \\377' > more.yaml\n",
        "$ printf 'cautions: {}  # fine' > more.yaml\n",
    ),
    Code(
        "bad-character",
        "A control character, or one that turns the direction of the text around it: a person would read something "
        "else than the program does.",
        "$ printf 'title: \\007Buses\\n' > more.yaml\n",
        "$ printf 'title: Buses\\n' > more.yaml\n",
    ),
    Code(
        "too-large",
        "A file, a pack or the number of values in a file is larger than rules ever are.",
        "$ head -c 5000000 /dev/zero | tr '\\0' '#' > more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "not-a-file",
        "What bears the name of a file of rules is a pipe, a socket or a device.",
        "$ mkfifo more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "missing-file",
        "The file is gone: a link leads to nothing, or somebody removed the file just now.",
        "$ ln -s removed.yaml more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "unreadable",
        "The file is there and cannot be opened: its permissions forbid it, or a link leads back to itself.",
        "$ ln -s more.yaml more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "empty",
        "The file holds nothing, or only comments; a file that was meant to say something was probably not saved.",
        "$ echo '# To be written.' > more.yaml\n",
        "$ echo 'title: Buses' > more.yaml\n",
    ),
    Code(
        "syntax",
        "The text is not YAML: a colon, comma or bracket stands where none may, or a line is indented unlike its "
        "neighbours. Prose goes under `>`, where all of them are harmless.",
        "pack: shop\ntitle: Buses: the big ones\n",
        "pack: shop\ntitle: >\n  Buses: the big ones\n",
    ),
    Code(
        "tab",
        "A tab stands where YAML allows only spaces.",
        "pack: shop\ncautions:\n\tgoggles: {text: Wear goggles., source: common practice}\n",
        f"pack: shop\n{_GLOVES}",
    ),
    Code(
        "anchor",
        "Anchors and aliases are not read: a small file could grow without end, and a value would stand elsewhere.",
        "pack: &name shop\ntitle: *name\n",
        "pack: shop\ntitle: shop\n",
    ),
    Code(
        "tag",
        "Tags are not read: every value is text until its field gives it a meaning.",
        "pack: shop\nedition: !!int 2\n",
        "pack: shop\nedition: 2\n",
    ),
    Code(
        "directive",
        "Lines that begin with % are not read.",
        "%YAML 1.2\n---\npack: shop\n",
        "pack: shop\n",
    ),
    Code(
        "merge-key",
        "Merge keys are not read; keys are written out where they hold.",
        "pack: shop\nbuilds_on: {<<: 1, ground: 1}\n",
        "pack: shop\nbuilds_on: {ground: 1}\n",
    ),
    Code(
        "several-documents",
        "A file holds one document; what follows the second --- would be passed over.",
        f"pack: shop\n---\n{_GLOVES}",
        f"pack: shop\n{_GLOVES}",
    ),
    Code(
        "complex-key",
        "A key is plain text, not a list or a mapping.",
        "pack: shop\n[title, edition]: Buses\n",
        "pack: shop\ntitle: Buses\n",
    ),
    Code(
        "duplicate-key",
        "The same key stands twice in one mapping; only one of them could count.",
        "pack: shop\nedition: 1\nedition: 2\n",
        "pack: shop\nedition: 2\n",
    ),
    Code(
        "open-quote",
        "A quote is opened and never closed, so the rest of the file became part of one value.",
        'pack: shop\ntitle: "Buses\nedition: 1\n',
        'pack: shop\ntitle: "Buses"\nedition: 1\n',
    ),
    Code(
        "escape",
        "A backslash in double quotes begins an escape, and this one is not known.",
        'pack: shop\ntitle: "C:\\pools\\q"\n',
        "pack: shop\ntitle: 'C:\\pools\\q'\n",
    ),
    Code(
        "too-deep",
        "More levels inside each other than rules ever need.",
        f"pack: shop\ntitle: {'[' * 2 * _DEEP}deep{']' * 2 * _DEEP}\n",
        "pack: shop\ntitle: shallow\n",
    ),
    Code(
        "too-long",
        "One text is longer than anybody reads.",
        f"pack: shop\ntitle: {'very ' * 4100}long\n",
        "pack: shop\ntitle: short\n",
    ),
)
