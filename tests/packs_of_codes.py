"""Turns the examples of the codes into packs on disk: whole files, lines of one rule, or a command of the shell."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

GROUND = Path(__file__).parent / "packs" / "bad" / "ground"
_RULE = {
    "topic": "topic: near\n",
    "title": "title: The high side is near the air\n",
    "when": "when:\n  condensing_over_ambient: {below: 5 K}\n",
    "says": "says:\n  leak: for\n",
    "because": "because: It condenses close to the air.\n",
    "source": "source: common practice\n",
    "examples": "examples:\n  holds: [{high_side: low}]\n  does_not_hold: [{high_side: high}]\n",
}


def written(example: str, top: Path) -> list[Path]:
    """Write an example into a folder below `top`, made whole where it is a part.

    Returns:
        the folder; before it the pack that the example's commands put beside it, if they do.
    """
    folder, other = top / "shop", top / "other"
    folder.mkdir(parents=True)
    pack = folder / "pack.yaml"
    if example.startswith("$ "):
        pack.write_text("pack: shop\n", "utf-8")
        command = example.removeprefix("$ ")
        subprocess.run(["sh", "-c", command], cwd=folder, check=True, capture_output=True)
    elif re.match(rf"(?:# .*[^:]\n)*(?:{'|'.join(_RULE)}|applies_to|otherwise|check_next):", example):
        rest = [text for key, text in _RULE.items() if not re.search(rf"(?m)^{key}:", example)]
        body = "".join(rest) + example
        pack.write_text("pack: shop\nrules:\n  tried:\n" + re.sub(r"(?m)^", "    ", body), "utf-8")
    elif re.match(r"# \S+\.yaml:\n", example):
        _, *parts = re.split(r"(?m)^# (\S+\.yaml):\n", example)
        for name, text in zip(parts[::2], parts[1::2], strict=True):
            (top / name).parent.mkdir(parents=True, exist_ok=True)
            (top / name).write_text(text, "utf-8")
    else:
        pack.write_text(example, "utf-8")
    return [other, folder] if other.exists() else [folder]
