"""The book of the rules in force: every entry with its source, its places and its examples, cross-linked.

This module gathers pages of blocks, the same for every form; output/book.py writes them as Markdown and as HTML. The
same rules give the same book, byte for byte: nothing in it depends on the day, the machine or the order of files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from twogauge.packs import yamlfile
from twogauge.packs.compile import Program
from twogauge.packs.pages import Block, Heading, Items, Link, Page, Paragraph, Table, Text
from twogauge.packs.words import EFFORT, weight_in_words
from twogauge.quantity_table import QUANTITIES
from twogauge.service.plan_steps import in_order

if TYPE_CHECKING:
    from twogauge.packs.in_force import Loaded, Stack


# Section of a pack -> title of its page; what a reader looks for first comes first.
PAGES: Final[Mapping[str, str]] = {
    "faults": "Faults",
    "checks": "Checks",
    "rules": "Rules",
    "gates": "Gates",
    "bands": "What is normal",
    "cautions": "Cautions",
    "criteria": "Criteria for vacuum and pressure tests",
    "plans": "Plans",
    "profiles": "Machines",
}


_ABOUT: Final = (
    "Every fault, check, rule, gate, band and caution, as they are weighed. A rule says how strongly what is seen speaks "
    "for or against a fault: 3, 6, 10 and 20 decibans are slightly, plainly, strongly and decisively, a factor of 2, 4, "
    "10 and 100. Of the rules of one topic only the strongest counts for each fault. A name in braces stands for the "
    "value of a reading."
)
_CARE: Final = (
    "Work on a refrigerant circuit can hurt you. The cautions here are the usual ones, not all of them: the maker's "
    "procedure, local codes and licensed practice come first."
)


def book(program: Program) -> tuple[Page, ...]:
    """Return the pages of the book of a program that was read from files."""
    return _Author(program).pages()


class _Author:
    def __init__(self, program: Program) -> None:
        self._stack: Stack = program.stack
        self._folders = [Path(each.folder).resolve().parent for each in program.stack.found if each.folder]
        # entry -> rules and gates that look at it, or speak of it
        self._looked_at: dict[str, list[str]] = {}
        self._said_of: dict[str, list[tuple[float, str]]] = {}
        self._advised: dict[str, list[str]] = {}  # caution -> faults and checks
        for name, rule in self._stack.rules.items():
            for seen in rule.entry.when:
                self._looked_at.setdefault(seen, []).append(name)
            for fault, weight in {**rule.entry.otherwise, **rule.entry.says}.items():
                self._said_of.setdefault(fault, []).append((weight, name))
        for name, gate in self._stack.gates.items():
            for seen in gate.entry.when:
                self._looked_at.setdefault(seen, []).append(name)
        advised: list[Loaded[Any]] = [*self._stack.faults.values(), *self._stack.checks.values()]
        for loaded in advised:
            for caution in loaded.entry.cautions:
                self._advised.setdefault(caution, []).append(loaded.id)
        for plan in self._stack.plans.values():
            for caution in dict.fromkeys(name for step in plan.entry.steps.values() for name in step.cautions):
                self._advised.setdefault(caution, []).append(plan.id)

    def pages(self) -> tuple[Page, ...]:
        sections: dict[str, Callable[[Loaded[Any]], list[Block]]] = {
            "faults": self._fault,
            "checks": self._check,
            "gates": self._gate,
            "bands": self._band,
            "cautions": self._caution,
            "criteria": self._plain,
            "plans": self._plan,
            "profiles": self._plain,
        }
        found = [self._index()]
        for section, title in PAGES.items():
            entries: Mapping[str, Loaded[Any]] = getattr(self._stack, section)
            if not entries:
                continue
            if section == "rules":
                found.append(self._rules(title))
                continue
            blocks: list[Block] = [Heading(1, title), self._contents(entries.values())]
            for loaded in entries.values():
                blocks += [Heading(2, loaded.id, loaded.id), *sections[section](loaded), *self._foot(loaded)]
            found.append(Page(section, title, tuple(blocks)))
        return tuple(found)

    # -- the pages ----------------------------------------------------------------------------------------------

    def _index(self) -> Page:
        stack = self._stack
        rows = tuple(
            ((header.pack,), (header.title or "",), (str(header.edition),), (_counted(stack, header.pack),))
            for header in stack.packs
        )
        listed = tuple(
            (Link(title, section), f": {len(getattr(stack, section))}")
            for section, title in PAGES.items()
            if getattr(stack, section)
        )
        blocks: list[Block] = [
            Heading(1, "The rules in force"),
            Paragraph((_ABOUT,)),
            Paragraph((_CARE,)),
            Heading(2, "Packs, lowest first"),
            Table(("pack", "title", "edition", "holds"), rows),
            Heading(2, "Pages"),
            Items(listed),
        ]
        if stack.taken_out:
            gone = tuple(
                (each.id, f", {_one(each.kind)} of {each.owner}, by {each.pack}: {each.note}")
                for each in stack.taken_out.values()
            )
            blocks += [Heading(2, "Disabled"), Items(tuple(("".join(each),) for each in gone))]
        return Page("index", "The rules in force", tuple(blocks))

    def _contents(self, entries: Iterable[Loaded[Any]]) -> Block:
        return Items(
            tuple((self._link(each.id), f": {title}" if (title := _title(each)) else "") for each in entries)
        )

    def _rules(self, title: str) -> Page:
        rules = sorted(self._stack.rules.values(), key=lambda rule: (rule.entry.topic, rule.id))
        topics = [(topic, list(group)) for topic, group in groupby(rules, key=lambda rule: rule.entry.topic)]
        blocks: list[Block] = [
            Heading(1, title),
            Items(tuple((Link(topic, "rules", f"topic-{topic}"), f": {len(group)}") for topic, group in topics)),
        ]
        for topic, group in topics:
            blocks += [Heading(2, f"topic {topic}", f"topic-{topic}"), self._contents(group)]
            for rule in group:
                blocks += [Heading(3, rule.id, rule.id), *self._rule(rule), *self._foot(rule)]
        return Page("rules", title, tuple(blocks))

    # -- the entries --------------------------------------------------------------------------------------------

    def _fault(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        serious = {"comfort": "", "damage": "; damages the machine if it stays", "danger": "; a danger if it stays"}
        blocks: list[Block] = [
            Paragraph((f"{entry.title}. How common: {entry.how_common}{serious[entry.serious]}.",)),
            Paragraph((entry.what_happens,)),
            *self._steps("To make sure", entry.confirm),
            *self._steps("To repair", entry.repair),
        ]
        said = self._said_of.get(loaded.id, [])
        for head, wanted in (("What speaks for it", 1.0), ("What speaks against it", -1.0)):
            rules = sorted((-abs(w), name) for w, name in said if w * wanted > 0)
            if rules:
                blocks.append(Paragraph((f"{head}:",)))
                blocks.append(Items(tuple((self._link(n), f" ({-w:g} dB): {self._titled(n)}") for w, n in rules)))
        return blocks

    def _check(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        rows = tuple(((answer,), (meaning,)) for answer, meaning in entry.answers.items())
        blocks: list[Block] = [
            Paragraph((f"{entry.title}. About {EFFORT[entry.effort]:g} min.",)),
            Paragraph((entry.ask,)),
            *(Paragraph((f"{each.text}{_only(each.applies_to)}",)) for each in entry.how),
            Table(("answer", "what it means"), rows),
        ]
        return [*blocks, *self._used(loaded.id)]

    def _rule(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        blocks: list[Block] = [Paragraph((f"{entry.title}.",)), *self._when(entry.when)]
        faults = list(dict.fromkeys((*entry.says, *entry.otherwise)))
        rows = tuple(
            (
                (self._link(fault),),
                (_weight(entry.says.get(fault)),),
                (_weight(entry.otherwise.get(fault)),),
            )
            for fault in sorted(faults, key=lambda f: (-entry.says.get(f, 0.0), entry.otherwise.get(f, 0.0), f))
        )
        blocks += [Table(("fault", "if it holds", "if it does not"), rows), Paragraph((f"Because: {entry.because}",))]
        if entry.looks_alike:
            blocks.append(Paragraph((f"What looks alike: {entry.looks_alike}",)))
        if entry.check_next:
            named = _joined([self._link(name) for name in entry.check_next])
            blocks.append(Paragraph(("What to look at next: ", *named)))
        return blocks

    def _gate(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        quiet = _joined([self._topic(topic) for topic in entry.silences])
        but = (" but ", *_joined([self._topic(topic) for topic in entry.except_])) if entry.except_ else ()
        return [
            Paragraph((f"{entry.title}.",)),
            *self._when(entry.when),
            Paragraph(("Keeps quiet: ", *quiet, *but)),
            Paragraph((f"Because: {entry.because}",)),
            Paragraph((f"Instead: {entry.instead}",)),
        ]

    def _band(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        around = f", counted from {entry.around}" if entry.around else ""
        blocks: list[Block] = [Paragraph((f"The yardstick of {entry.level}{around}.",))]
        if entry.normal is not None:
            blocks.append(Paragraph((f"Normal is {entry.normal[0]} to {entry.normal[1]}.",)))
        if entry.normal_at:
            rows = tuple(((r.ambient,), (f"{r.normal[0]} to {r.normal[1]}",)) for r in entry.normal_at)
            blocks.append(Table(("ambient", "normal"), rows))
        for shift in entry.shifts:
            side = f"above {shift.above}" if shift.above else f"below {shift.below}"
            moved = f"Each {shift.each} of {shift.field} {side} moves the ends by {shift.low} and {shift.high}"
            blocks.append(Paragraph((f"{moved}, at most {shift.steps} times.",)))
        blocks.append(
            Paragraph(
                (f"Makers differ by {entry.edge}; a known-good reading of the same machine holds {entry.baseline}.",)
            )
        )
        return [*blocks, *self._used(entry.level)]

    def _caution(self, loaded: Loaded[Any]) -> list[Block]:
        blocks: list[Block] = [Paragraph((loaded.entry.text,))]
        named = self._advised.get(loaded.id, [])
        if named:
            blocks.append(Paragraph(("Stands with: ", *_joined([self._link(name) for name in named]))))
        return blocks

    def _plan(self, loaded: Loaded[Any]) -> list[Block]:
        entry = loaded.entry
        blocks: list[Block] = [Paragraph((f"{entry.title}. {entry.about}",))]
        for number, (name, step) in enumerate(in_order(entry.steps), start=1):
            left_out = " (left out)" if step.left_out == "yes" else ""
            blocks += [
                Paragraph((f"{number}. {name}{left_out}: {step.do}{_only(step.applies_to)}",)),
                Paragraph((f"Why: {step.why}",)),
            ]
            if step.passes:
                blocks.append(Paragraph((f"Passes: {step.passes}",)))
            if step.criteria:
                blocks.append(Paragraph((f"Criteria: those for {' and '.join(step.criteria)}.",)))
            if step.cautions:
                warned = tuple((self._link(each), ": ", self._short(each)) for each in step.cautions)
                blocks += [Paragraph(("Take care:",)), Items(warned)]
            blocks.append(Paragraph((f"Said by: {_sources(step.source)}.",)))
        return blocks

    def _plain(self, loaded: Loaded[Any]) -> list[Block]:
        """Tell an entry as it is written, where no more is to be said of it."""
        blocks: list[Block] = [Paragraph((f"{loaded.entry.title}.",))]
        left = {"title", "source", "since", "changed", "formerly", "note", "applies_to", "topic"}
        node = loaded.node
        rows = [
            ((name,), (_flat(entry.value),))
            for name, entry in (node.entries.items() if node is not None else ())
            if name not in left
        ]
        return [*blocks, Table(("key", "value"), tuple(rows))]

    # -- what entries share -------------------------------------------------------------------------------------

    def _steps(self, head: str, steps: Sequence[Any]) -> list[Block]:
        if not steps:
            return []
        told = tuple((f"{each.text}{_only(each.applies_to)}",) for each in steps)
        return [Paragraph((f"{head}:",)), Items(told, numbered=True)]

    def _when(self, when: Mapping[str, Any]) -> list[Block]:
        items = []
        for name, test in when.items():
            told = [
                f"{_KEYS.get(key, key)} {value if isinstance(value, str) else _sides(key, value)}"
                for key, value in test.model_dump(by_alias=True).items()
                if value is not None
            ]
            about = f" ({QUANTITIES[name].about})" if name in QUANTITIES else ""
            items.append((self._link(name), f" {', '.join(told)}{about}"))
        return [Paragraph(("All of this must hold:" if len(items) > 1 else "This must hold:",)), Items(tuple(items))]

    def _used(self, name: str) -> list[Block]:
        found = self._looked_at.get(name, [])
        if not found:
            return []
        listed = tuple((self._link(each), f": {self._titled(each)}") for each in found)
        return [Paragraph(("Looked at by:",)), Items(listed)]

    def _foot(self, loaded: Loaded[Any]) -> list[Block]:
        """Say where an entry applies, what changed it, what warns, what proves it, and where it comes from."""
        entry = loaded.entry
        blocks: list[Block] = []
        if getattr(entry, "applies_to", None):
            blocks.append(Paragraph((_only(entry.applies_to).strip(),)))
        if getattr(entry, "cautions", ()):
            warned = tuple((self._link(name), ": ", self._short(name)) for name in entry.cautions)
            blocks += [Paragraph(("Take care:",)), Items(warned)]
        examples = getattr(entry, "examples", None)
        if examples is not None:
            rows = [
                ((head,), (_reading(given),))
                for head, readings in (
                    ("holds", examples.holds),
                    ("does not hold", examples.does_not_hold),
                    ("cannot say", examples.cannot_say),
                )
                for given in readings
            ]
            blocks.append(Table(("example", "reading"), tuple(rows)))
        for pack, note in loaded.notes:
            blocks.append(Paragraph((f"Changed by {pack}: {note}",)))
        where = self._file(loaded)
        blocks.append(Paragraph((f"Source: {_sources(entry.source)}. Pack {loaded.pack}, {where}.",)))
        return blocks

    def _file(self, loaded: Loaded[Any]) -> str:
        """Return the file of an entry from the folder that holds its pack: the same on every machine."""
        path = Path(loaded.place().path).resolve()
        for folder in self._folders:
            if path.is_relative_to(folder):
                return path.relative_to(folder).as_posix()
        return path.name

    def _link(self, name: str) -> Link | str:
        for section in PAGES:
            if name in getattr(self._stack, section):
                return Link(name, section, name)
        return name

    def _topic(self, topic: str) -> Link | str:
        known = {rule.entry.topic for rule in self._stack.rules.values()}
        return Link(topic, "rules", f"topic-{topic}") if topic in known else topic

    def _titled(self, name: str) -> str:
        loaded: Any = self._stack.rules.get(name) or self._stack.gates.get(name)
        return str(loaded.entry.title)

    def _short(self, caution: str) -> str:
        entry = self._stack.cautions[caution].entry
        return entry.short or entry.text


_KEYS: Final = {"is_not": "is not", "any_of": "is one of"}


def _sides(key: str, value: Sequence[str]) -> str:
    return (" and " if key == "between" else ", ").join(value)


def _title(loaded: Loaded[Any]) -> str:
    return str(getattr(loaded.entry, "title", "") or getattr(loaded.entry, "short", "") or "")


def _weight(decibans: float | None) -> str:
    return "" if not decibans else f"{weight_in_words(decibans)} ({decibans:+g} dB)"


def _only(applies_to: Mapping[str, Sequence[str]]) -> str:
    told = "; ".join(f"{name} {' or '.join(words)}" for name, words in applies_to.items())
    return f" Only for {told}." if told else ""


def _sources(source: Any) -> str:
    """Return who says so, and of what."""
    told = [
        f"{what}: {text}" if what != "facts" else text
        for what in ("facts", "numbers", "weights")
        if (text := getattr(source, what))
    ]
    return "; ".join(told)


def _joined(parts: Sequence[str | Link]) -> Text:
    out: list[str | Link] = []
    for part in parts:
        out += [", ", part] if out else [part]
    return tuple(out)


def _counted(stack: Stack, pack: str) -> str:
    counts = {s: sum(each.pack == pack for each in getattr(stack, s).values()) for s in PAGES}
    return ", ".join(f"{n} {section if n > 1 else _one(section)}" for section, n in counts.items() if n)


def _one(section: str) -> str:
    """Return what one entry of a section is called."""
    return "criterion" if section == "criteria" else section.removesuffix("s")


def _reading(given: Mapping[str, Any]) -> str:
    return ", ".join(f"{name}: {_told(value)}" for name, value in given.items())


def _told(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + _reading(value) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_told, value)) + "]"
    return " ".join(str(value).split())


def _flat(node: yamlfile.Node) -> str:
    return _told(yamlfile.plain(node))
