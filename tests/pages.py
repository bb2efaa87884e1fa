"""What tests look at in a page of the server: its controls, its answer, and nothing inline."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from twogauge.serve.guard import POLICY

HOSTILE = (
    "<script>alert(1)</script>",
    "$E=mc^2$",
    "\x1b[31m\x00\u202e",
    "'\"><img src=x onerror=alert(1)>",
    "9" * 600,
)
# In which the editors and spreadsheets of the shop write, with their marks and without.
ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be")
NUMBER = re.compile(r"\d+(?:\.\d+)?")


class Seen(HTMLParser):
    """Ids, labels, controls, scripts and the words of the answer of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.labelled: set[str] = set()
        self.controls: dict[str, str] = {}
        self.points_at: list[str] = []
        self.inline: list[str] = []
        self._inside = False
        self.words: list[str] = []
        self.feed(text)
        self.answer = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        self.inline += [name for name in told if name.startswith("on") or name == "style"]
        if tag == "script" and "src" not in told:
            self.inline.append("script")
        if told.get("id"):
            self.ids.append(told["id"])
        if tag == "section" and told.get("id") == "result":
            self._inside = True
        if tag == "label":
            self.labelled.add(told.get("for", ""))
        # One without a name is never sent; it is for a script, such as the fields that add a row.
        if tag in {"input", "select", "textarea"} and told.get("type") not in {"hidden", "radio"} and "name" in told:
            self.controls[told["name"]] = told.get("id", "")
        for name in ("aria-describedby", "aria-labelledby"):
            self.points_at += (told.get(name) or "").split()

    def handle_endtag(self, tag):
        self._inside = self._inside and tag != "section"

    def handle_data(self, data):
        if self._inside:
            self.words.append(data)


def see(client, path, told=None, status=200):
    answer = client.get(path, params=told or None)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-security-policy"] == POLICY
    return answer.text, Seen(answer.text)


def numbers(text):
    return sorted(set(NUMBER.findall(text)))
