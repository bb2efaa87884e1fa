"""A diagnosis as plain text for the person at the machine: the answer first, then what it stands on, then what to do.

Formatting only; every number and sentence comes from the diagnosis. Lines fit the style's width, a reason's text is
printed once, and a caution stands once, at the end of the advice it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from twogauge.diagnosis import Diagnosis, Ranked, Reason, Shown, Warned
from twogauge.fields import FIELDS
from twogauge.next_checks import NextStep
from twogauge.outlook import Outlook
from twogauge.output import outlook
from twogauge.output.style import Style, percent
from twogauge.output.values import EDGE, machine_words, range_text, so_it_is, value_text
from twogauge.packs.words import weight_in_words
from twogauge.quantities import Dimension, show

LISTED_FROM = 0.02  # less probable faults are summed up in one line
LISTED: Final = 6
DETAILED_FROM = 0.1  # diagnosis.py gathers cautions from the same probability on
DETAILED: Final = 3
REASONS: Final = 5  # of a kind, unless everything is wanted
_BAR: Final = 20  # characters
_BAR_WHERE_NARROW: Final = 6
_ROOM_BESIDE: Final = 60  # characters; in a narrower line the text of a reason stands below its strength

YARDSTICKS: Final = {
    "usual": ("usual", "what most healthy machines of this kind show"),
    "baseline": ("known good", "what the known-good reading of this machine shows"),
    "spec": ("maker", "what the maker's manual or the label says for this day"),
    "target": ("target", "what the label or the table asks for in this weather"),
    "told": ("told", "as it was told, in words"),
}


def as_text(diagnosis: Diagnosis, style: Style, ahead: Outlook | None = None, *, verbose: bool = False) -> str:
    """Return the whole answer, with a line feed at its end.

    Args:
        diagnosis: what to print.
        style: width, emphasis and encoding.
        ahead: what goes on from it; without it only the diagnosis is printed.
        verbose: with every reason, also those that did not count, and why each missing quantity is missing.
    """
    return "\n".join(_Page(diagnosis, style, ahead, verbose=verbose).lines()) + "\n"


class _Page:
    """Writes the sections in the order in which they are needed."""

    def __init__(self, diagnosis: Diagnosis, style: Style, ahead: Outlook | None, *, verbose: bool) -> None:
        self._diagnosis = diagnosis
        self._style = style
        self._ahead = ahead
        self._verbose = verbose
        self._told_rules: set[str] = set()
        self._told_cautions: set[str] = set()

    def lines(self) -> list[str]:
        detailed = self._detailed()
        sections = [
            [*self._verdict(), *self._about()],
            self._gates(),
            self._table(),
            self._ranking(),
            *(self._fault(ranked) for ranked in detailed),
            self._cautions(detailed) if detailed else [],
            self._next(),
            self._cautions([]),
            self._left_over(),
            self._how_sure(),
            self._warnings(),
            self._missing(),
            self._packs(),
        ]
        lines: list[str] = []
        for section in sections:
            if section:
                lines += [*([""] if lines else []), *section]
        return lines

    def _head(self, text: str) -> list[str]:
        return [self._style.bold(line) for line in self._style.wrap(text, "", "  ")]

    def _dim(self, text: str, indent: str = "", hanging: str | None = None) -> list[str]:
        return [self._style.dim(line) for line in self._style.wrap(text, indent, hanging)]

    # -- the answer --------------------------------------------------------------------------------------------

    def _verdict(self) -> list[str]:
        return self._head(verdict_sentence(self._diagnosis))

    def _about(self) -> list[str]:
        """Say which machine on which day, so that a printout can be told from another."""
        reading = self._diagnosis.reading
        parts = reading.parts
        told = [str(reading.given[name]) for name in ("machine", "date") if reading.given.get(name)]
        told += machine_words(parts)
        if "ambient" in parts.numbers:
            told.append(f"{show(parts.numbers['ambient'], Dimension.TEMPERATURE, reading.units)} air")
        lines = self._style.wrap(", ".join(told), "  ")
        note = reading.given.get("note")
        return lines + (self._style.wrap(str(note), "  ") if note else [])

    def _gates(self) -> list[str]:
        lines: list[str] = []
        for gate in self._diagnosis.gates:
            lines += [*([""] if lines else []), *self._head(gate.title)]
            lines += self._style.wrap(as_sentence(gate.text), "  ")
            lines += self._style.wrap(f"Instead: {gate.instead}", "  ")
        return lines

    # -- what the gauges mean ----------------------------------------------------------------------------------

    def _table(self) -> list[str]:
        rows = self._rows()
        if not rows:
            return []
        head = ("reading", "value", "normal here", "by", "so it is")
        widths = [max(len(row[k]) for row in (head, *rows)) for k in range(5)]
        lines = self._head("What the gauges mean")
        if 2 + sum(widths) + 2 * 4 <= self._style.width:
            lines.append("  " + self._style.dim(self._columns(head, widths)))
            lines += ["  " + self._columns(row, widths) for row in rows]
        else:
            for label, value, normal, by, level in rows:
                so = f"{', ' if level else ''}{level}" if level != value else ""
                measure = f" ({by}{' ' if normal else ''}{normal})" if by else ""
                lines += self._style.wrap(f"{label}: {value}{so}{measure}", "  ", "    ")
        return lines + self._legend()

    def _columns(self, row: Sequence[str], widths: Sequence[int]) -> str:
        cells = (
            row[0].ljust(widths[0]),
            row[1].rjust(widths[1]),
            *(r.ljust(w) for r, w in zip(row[2:], widths[2:], strict=True)),
        )
        return "  ".join(cells).rstrip()

    def _rows(self) -> list[tuple[str, str, str, str, str]]:
        shown = {each.name: self._row(each) for each in self._diagnosis.derived}
        words = self._diagnosis.reading.parts.words
        told = {
            name: (name, words[name], "", YARDSTICKS["told"][0], words[name])
            for name, known in FIELDS.items()
            if known.words and name in words
        }
        first = ("low_side", "high_side")
        order = [*first, *(n for n in told if n not in first), *(n for n in shown if n not in first)]
        rows = [{**shown, **told}[name] for name in dict.fromkeys(order) if name in shown or name in told]
        clean = self._style.clean
        return [
            (clean(name.replace("_", " ")), clean(value), clean(normal), clean(by), clean(level))
            for name, value, normal, by, level in rows
        ]

    def _row(self, shown: Shown) -> tuple[str, str, str, str, str]:
        by = YARDSTICKS[shown.judged_by][0] if shown.judged_by else ""
        reading = self._diagnosis.reading
        swing = reading.parts.swings.get(shown.name)
        value = range_text(swing, shown.dimension, reading) if swing else value_text(shown, reading)
        normal = range_text(shown.normal, shown.dimension, reading) if shown.normal else ""
        return shown.name, value, normal, by, so_it_is(shown)

    def _legend(self) -> list[str]:
        used = {shown.judged_by for shown in self._diagnosis.derived}
        said = [f"{word}: {about}" for key, (word, about) in YARDSTICKS.items() if key in used and key != "told"]
        if any(shown.u > 0.0 for shown in self._diagnosis.derived):
            said.append("\u00b1 holds 19 times in 20")
        if any(so_it_is(shown) == EDGE for shown in self._diagnosis.derived):
            said.append(f"{EDGE}: outside the range, but makers differ too much about its ends for a clear sign")
        return self._dim("; ".join(said), "  ") if said else []

    # -- the faults --------------------------------------------------------------------------------------------

    def _ranking(self) -> list[str]:
        d = self._diagnosis
        if d.verdict == "gated" and not self._verbose:
            return []
        listed = [r for r in d.ranking if r.probability >= LISTED_FROM][:LISTED]
        if self._verbose:
            listed = list(d.ranking)
        lines = self._head(
            "How likely" if d.verdict != "not_enough" else "How likely, by little more than how common each is"
        )
        cells = _BAR if self._style.width >= 64 else _BAR_WHERE_NARROW
        for ranked in listed:
            begin = f"  {percent(ranked.probability):>5}  {self._style.bar(ranked.probability, cells)}  "
            lines += self._style.wrap_after(ranked.title, begin)
        rest = [r.probability for r in d.ranking[len(listed) :]] if not self._verbose else []
        if rest:
            lines.append(self._style.dim(f"  {percent(sum(rest)):>5}  all {len(rest)} others together"))
        return lines

    def _detailed(self) -> list[Ranked]:
        d = self._diagnosis
        if d.verdict in {"gated", "not_enough"} and self._verbose:
            return list(d.ranking[:DETAILED])
        return detailed(d)

    def _fault(self, ranked: Ranked) -> list[str]:
        title = f"{ranked.title}, {percent(ranked.probability)}"
        lines = self._head(title)
        lines += self._style.wrap(ranked.what_happens, "  ")
        for pack, note in ranked.notes:
            lines += self._style.wrap(f"Adjusted by {pack}: {note}", "  ")
        if ranked.serious != "comfort":
            left = {"damage": "it damages the machine", "danger": "it can hurt somebody"}[ranked.serious]
            lines += [f"  If it stays: {left}."]
        counted = [r for r in ranked.reasons if r.counted]
        lines += self._reasons("Speaks for it", [r for r in counted if r.weight > 0])
        lines += self._reasons("Speaks against it", [r for r in counted if r.weight < 0])
        if self._verbose:
            lines += self._reasons("Did not count: a stronger reason looks at the same", self._uncounted(ranked))
        if ranked is self._diagnosis.first:
            lines += self._unexplained()
        lines += self._list("To make sure", ranked.confirm)
        return lines + self._list("What to do", ranked.repair)

    def _uncounted(self, ranked: Ranked) -> list[Reason]:
        return [r for r in ranked.reasons if not r.counted]

    def _reasons(self, head: str, reasons: Sequence[Reason]) -> list[str]:
        if not reasons:
            return []
        lines = ["", *self._style.wrap(head, "  ")]
        kept = reasons if self._verbose else reasons[:REASONS]
        for reason in kept:
            begin = f"    {strength(reason.weight):10} {reason.weight:+5.1f} dB  "
            indent = " " * (len(begin) if self._style.width >= _ROOM_BESIDE else 6)
            if self._style.width >= _ROOM_BESIDE:
                lines += self._style.wrap_after(self._reason_title(reason), begin)
            else:
                lines += self._style.wrap(f"{begin.strip()}: {self._reason_title(reason)}", "    ", indent)
            if reason.rule not in self._told_rules:
                lines += self._style.wrap(as_sentence(reason.text), indent)
                for pack, note in reason.notes:
                    lines += self._style.wrap(f"Adjusted by {pack}: {note}", indent)
            if self._verbose:
                told = f"{reason.pack}: {reason.rule}, topic {reason.topic}. {reason.source}"
                lines += self._dim(told, indent)
            self._told_rules.add(reason.rule)
        if len(kept) < len(reasons):
            lines += self._dim(f"and {len(reasons) - len(kept)} weaker; --verbose shows all", "    ")
        return lines

    def _reason_title(self, reason: Reason) -> str:
        clear = max(reason.degree, 1.0 - reason.degree)
        return reason.title if clear > 0.9 and not self._verbose else f"{reason.title} ({percent(clear)} sure)"

    def _unexplained(self) -> list[str]:
        """Say what the leader leaves open; what speaks against it was printed with its text just above."""
        open_ = self._diagnosis.unexplained
        if not open_:
            return []
        lines = ["", "  Leaves unexplained"]
        for reason in open_:
            lines += self._style.wrap(reason.title, "    - ", "      ")
            if reason.rule not in self._told_rules and reason.text:
                lines += self._style.wrap(as_sentence(reason.text), "      ")
                self._told_rules.add(reason.rule)
        return lines

    def _list(self, head: str, items: Sequence[str]) -> list[str]:
        if not items:
            return []
        lines = ["", f"  {head}"]
        for number, item in enumerate(items, start=1):
            lines += self._style.wrap(item, f"  {number:>3}. ", "       ")
        return lines

    # -- what to mind and what to look at next -----------------------------------------------------------------

    def _cautions(self, detailed: Sequence[Ranked]) -> list[str]:
        """Print each caution once, after the advice it belongs to; those of the next steps stand there."""
        advised = [c for r in detailed for c in r.cautions]
        of_next = {c for step in (self._ahead.steps if self._ahead else ()) for c in step.cautions}
        general = [c for c in self._diagnosis.cautions if c not in of_next or c in advised]
        return self._care([*general, *advised])

    def _care(self, cautions: Iterable[Warned], indent: str = "") -> list[str]:
        new = [c for c in dict.fromkeys(cautions) if c.caution not in self._told_cautions]
        self._told_cautions.update(c.caution for c in new)
        if not new:
            return []
        lines = [indent + self._style.accent("Take care")]
        for caution in new:
            begin, rest = f"{indent}  ! ", f"{indent}    "
            if self._verbose:
                lines += self._style.wrap_led(caution.text, begin, rest)
            else:
                lines += self._style.wrap(caution.short, begin, rest)
        if not self._verbose and not indent:
            lines += self._dim("each in full: --verbose", "    ")
        return lines

    def _next(self) -> list[str]:
        if self._ahead is None or not self._ahead.steps:
            return []
        lines = self._head("Look at next, what settles most first")
        for number, step in enumerate(self._ahead.steps, start=1):
            lines += self._step(number, step, self._ahead.titles)
        return lines

    def _step(self, number: int, step: NextStep, titles: Mapping[str, str]) -> list[str]:
        begin, indent = f"  {number:>2}. ", "      "
        lines = self._style.wrap(f"{step.title} (about {step.minutes:g} min)", begin, indent)
        lines += self._style.wrap(step.how, indent) if step.how else []
        lines += self._care(step.cautions, indent)
        for sentence in outlook.what_it_does(step, titles):
            lines += self._style.wrap(sentence, f"{indent}- ", f"{indent}  ")
        return lines + self._dim(f"then add {outlook.how_to_tell(step)}", indent, f"{indent}  ")

    def _left_over(self) -> list[str]:
        said = outlook.what_is_left(self._ahead) if self._ahead is not None else ()
        lines = [line for text in said for line in self._style.wrap(text, "  - ", "    ")]
        return [*self._head("What the first leaves over"), *lines] if lines else []

    def _how_sure(self) -> list[str]:
        said = outlook.how_sure(self._ahead) if self._ahead is not None else ()
        lines = [line for text in said for line in self._style.wrap(text, "  ")]
        return [*self._head("How sure, with these instruments"), *lines] if lines else []

    def _warnings(self) -> list[str]:
        lines = [
            line for text in self._diagnosis.warnings for line in self._style.wrap(as_sentence(text), "  - ", "    ")
        ]
        return [*self._head("Mind"), *lines] if lines else []

    def _missing(self) -> list[str]:
        missing = self._diagnosis.missing
        if not missing:
            return []
        if self._verbose:
            said = (f"{name.replace('_', ' ')}: {reason}" for name, reason in missing)
            return [*self._head("Not known"), *(line for s in said for line in self._style.wrap(s, "  - ", "    "))]
        names = ", ".join(name.replace("_", " ") for name, _ in missing)
        return self._dim(f"Not known: {names}.", "", "  ")

    def _packs(self) -> list[str]:
        if not self._verbose:
            return []
        names = ", ".join(f"{name} edition {edition}" for name, edition in self._diagnosis.packs)
        left_out = [
            line
            for name, why in self._diagnosis.disabled
            for line in self._dim(f"Left out: {name}, by {why}", "", "  ")
        ]
        return [*self._dim(f"Rule packs: {names}.", "", "  "), *left_out]


def verdict_sentence(d: Diagnosis) -> str:
    """Return the answer in one sentence."""
    if d.verdict == "gated":
        return f"These readings say nothing yet: {d.gates[0].title if d.gates else 'see below'}"
    if d.verdict == "not_enough":
        return "Not enough to say what is wrong"
    if d.verdict == "too_close":
        close = [f"{r.title} ({percent(r.probability)})" for r in d.ranking if r.fault in d.close]
        if len(close) > DETAILED:
            close[DETAILED:] = [f"{len(close) - DETAILED} more"]
        return f"Too close to call: {', '.join(close[:-1])} or {close[-1]}"
    if d.verdict == "normal":
        sure = percent(d.first.probability)
        return f"Nothing wrong with the refrigerant circuit that these readings show ({sure})"
    return f"Most likely: {d.first.title} ({percent(d.first.probability)})"


def detailed(d: Diagnosis) -> list[Ranked]:
    """Return the faults that are worth their details, most probable first; none where the readings say nothing."""
    if d.verdict in {"gated", "not_enough"}:
        return []
    if d.verdict == "too_close":
        return [r for r in d.ranking if r.fault in d.close][:DETAILED]
    others = [r for r in d.ranking[1:DETAILED] if r.probability >= DETAILED_FROM and not r.nothing_wrong]
    return [d.first, *others]


def as_sentence(text: str) -> str:
    """Return a text that begins with a value or a note as a sentence begins; names such as low_side stay."""
    first = text.partition(" ")[0]
    return text[:1].upper() + text[1:] if first.isalpha() else text


def strength(weight: float) -> str:
    """Return the word for the size of a weight [decibans]."""
    word = weight_in_words(weight).rpartition(" ")[0]
    return word or "plainly"
