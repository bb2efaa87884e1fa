"""Drafts of packs and rules: commented files that load, with examples that prove them.

A draft is tried before it is written: it is stacked on what is in force, compiled, and its examples are run. The
examples are not made up here: they are the readings of the rules in force, with one value moved until the new
condition clearly holds, and until it clearly does not.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from twogauge.errors import FileProblems, InputError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.packs.compile import Program
from twogauge.packs.draft_text import Draft, Proof, pack_text, rule_text, test_text
from twogauge.packs.in_force import Loaded
from twogauge.packs.layers import program_in_force
from twogauge.packs.model import ID
from twogauge.packs.pack_files import read_pack
from twogauge.packs.pack_folder import files_of
from twogauge.packs.problems import Problem
from twogauge.packs.selftest import check_examples
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES

# How blurred an edge is where its author does not say: about as far as makers disagree (from memory).
_SOFT: Final = {
    Dimension.TEMPERATURE: "3 K",
    Dimension.TEMPERATURE_DIFFERENCE: "3 K",
    Dimension.PRESSURE: "5 psi",
    Dimension.PRESSURE_DIFFERENCE: "5 psi",
    Dimension.FRACTION: "5 %",
}


@dataclass(frozen=True)
class Written:
    """What is to be written: file -> text. Nothing of it is on the disk yet."""

    files: Mapping[Path, str]
    pack: str


def new_pack(folder: Path, name: str, title: str, below: Sequence[str]) -> Written:
    """Draft a pack that holds nothing yet.

    Args:
        folder: where it will be.
        name: of the pack; "" takes the folder's.
        title: one line about it; "" takes the name.
        below: packs it lies on, beside the built-in ones.

    Raises:
        InputError: there is a pack already, or a name that is none.
    """
    if _holds_a_pack(folder):
        raise InputError(f"{folder} holds a pack already; for a rule in it add --rule ID")
    if not str(folder).isprintable():
        raise InputError(f"{shown(str(folder))} has characters that cannot be printed; name another folder")
    ident = name or re.sub(r"[^a-z0-9]+", "_", folder.resolve().name.lower()).strip("_")
    _check_id("pack", ident)
    files = {folder / "pack.yaml": pack_text(folder, ident, title)}
    _trial(folder, files, below)
    return Written(files, ident)


def new_rule(folder: Path, draft: Draft, pack: str, below: Sequence[str]) -> Written:
    """Draft a rule, and the pack around it where there is none.

    Args:
        folder: of the pack.
        draft: the rule.
        pack: name of the pack where it is new; "" takes the folder's.
        below: packs it lies on, beside the built-in ones.

    Raises:
        InputError: a name, a threshold or a weight that cannot be used, or no reading proves the condition.
        FileProblems: what is wrong in the pack that is there.
    """
    _check_id("rule", draft.id)
    files: dict[Path, str] = {}
    if _holds_a_pack(folder):
        pack = read_pack(folder).header.pack
    else:
        started = new_pack(folder, pack, "", below)
        files.update(started.files)
        pack = started.pack
    path = folder / f"{draft.id}.yaml"
    if path.exists():
        raise InputError(f"{path} is there already; give the rule another id")
    ground = program_in_force([*below, *([folder] if _holds_a_pack(folder) else [])], from_files=True)
    _check_names(draft, ground)
    draft = _completed(draft, ground)
    unproved = {path: rule_text(folder, draft, Proof([{}], [{}], []))}
    program = _trial(folder, {**files, **unproved}, below)
    files[path] = rule_text(folder, draft, _proof(draft, program, ground))
    program = _trial(folder, files, below)
    failures = [failure for failure in check_examples(program) if failure.rule == draft.id]
    if failures:
        raise InputError(f"no reading was found that proves {draft.id}: {failures[0]}")
    return Written(files, pack)


def default_topic(name: str, program: Program) -> str:
    """Return the topic under which most rules in force look at this quantity or check; its own name if none does."""
    topics = Counter(rule.topic for rule in program.rules if any(c.name == name for c in rule.conditions))
    return min(topics, key=lambda topic: (-topics[topic], topic)) if topics else name.removesuffix("_level")


def _holds_a_pack(folder: Path) -> bool:
    problems: list[Problem] = []
    try:
        return folder.is_dir() and bool(files_of(folder, problems) or problems)
    except InputError:  # no file of a pack; files whose name begins with a dot are none
        return False


def _check_id(what: str, ident: str) -> None:
    if re.fullmatch(ID, ident) is None or len(ident) > 80:
        raise InputError(f"{shown(ident)} cannot name a {what}; use small letters and digits, words joined by _")


def _check_names(draft: Draft, program: Program) -> None:
    """Refuse what is taken, and names nobody knows, before anything is tried."""
    stack = program.stack
    taken: dict[str, Loaded[Any]] = {
        **stack.rules,
        **stack.gates,
        **stack.faults,
        **stack.checks,
        **stack.bands,
        **stack.cautions,
    }
    if draft.id in taken:
        owner = taken[draft.id]
        raise InputError(f"{draft.id} exists in pack {owner.pack}, at {owner.defined}; give the rule another id")
    known = [*QUANTITIES, *program.answers]
    if draft.question:
        _check_id("check", draft.name)
        if draft.name in known or draft.name in taken:
            raise InputError(f"{draft.name} exists already; leave the question out, or give the check another id")
    elif draft.name not in known:
        near = did_you_mean(draft.name, known)
        hint = f"did you mean {' or '.join(map(repr, near))}?" if near else "`twogauge rules checks` lists the checks"
        raise InputError(
            f"{shown(draft.name)} is neither a quantity nor a check; {hint} For a new check add --ask and its question"
        )
    if not draft.says:
        raise InputError(
            "say what it speaks for or against, such as --says FAULT=for; `twogauge rules faults` lists them"
        )


def _completed(draft: Draft, program: Program) -> Draft:
    """Fill in what was left open."""
    info = QUANTITIES.get(draft.name)
    test = dict(draft.test)
    numeric = [key for key in ("above", "below", "between") if key in test]
    if numeric == ["between"] and "soft" not in test:
        numeric = []  # a soft edge may be wider than what lies between
    if numeric and "soft" not in test and info is not None and info.dimension in _SOFT:
        test["soft"] = _SOFT[info.dimension]
    title = " ".join(draft.title.split()) or draft.id.replace("_", " ").capitalize()
    because = draft.because or (
        f"The {draft.name.replace('_', ' ')} is {{{draft.name}}}."
        if info is not None
        else f"{draft.question or program.stack.checks[draft.name].entry.title + ':'} {{{draft.name}}}."
    )
    return replace(
        draft,
        test=test,
        title=title,
        because=because,
        source=draft.source or "from memory",
        topic=draft.topic or default_topic(draft.name, program),
    )


# -- trying it ------------------------------------------------------------------------------------------------------


def _trial(folder: Path, files: Mapping[Path, str], below: Sequence[str]) -> Program:
    """Compile what would be in force with these files, on a copy.

    Raises:
        InputError: in sentences without places, since nothing is on the disk.
    """
    with tempfile.TemporaryDirectory() as temporary:
        copy = Path(temporary, "pack")
        copy.mkdir()
        for path in files_of(folder, []) if _holds_a_pack(folder) else []:
            target = copy / path.relative_to(folder)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
        for path, text in files.items():
            (copy / path.relative_to(folder)).write_text(text, "utf-8")
        try:
            return program_in_force([*below, copy], from_files=True)
        except FileProblems as error:
            new = {str(copy / path.relative_to(folder)) for path in files}
            told = [
                p.message if p.place.path in new else str(p).replace(str(copy), str(folder)) for p in error.problems
            ]
            raise InputError("\n".join(dict.fromkeys(told))) from None


# -- readings that prove it -----------------------------------------------------------------------------------------


def _proof(draft: Draft, program: Program, ground: Program) -> Proof:
    """Return readings for which the condition clearly holds, clearly does not, and cannot be judged.

    Raises:
        InputError: none was found.
    """
    from twogauge.packs.proof import find  # noqa: PLC0415

    fixed = {name: words[0] for name, words in draft.applies_to.items()}
    (rule,) = (rule for rule in program.rules if rule.id == draft.id)
    holds, fails, unknown = find(rule, program, ground, fixed)
    if holds is None or fails is None:
        what = "holds" if holds is None else "does not hold"
        raise InputError(
            f"no reading was found for which {draft.name} {test_text(draft.test)} clearly {what}; look at the numbers, "
            f"or write the rule by hand with readings of your own"
        )
    return Proof([holds], [fails], [unknown] if unknown is not None else [])


# -- what can be told ------------------------------------------------------------------------------------------------


def known_names(program: Program) -> dict[str, str]:
    """Return what a rule may look at, quantities first, each with one line about it."""
    quantities = {name: info.about for name, info in QUANTITIES.items()}
    checks = {name: program.stack.checks[name].entry.title for name in program.answers}
    return {**quantities, **checks}


def answers_of(name: str, program: Program) -> tuple[str, ...]:
    """Return the words a quantity or check can be; nothing where it is a number."""
    info = QUANTITIES.get(name)
    if info is None:
        return program.answers.get(name, ())
    if info.is_level:
        return ("low", "normal", "high")
    return info.words or (FIELDS[name].choices if name in FIELDS else ())


def raw_pressures() -> Iterable[str]:
    """Return the quantities that mean something for one refrigerant only."""
    return [name for name, info in QUANTITIES.items() if info.dimension is Dimension.PRESSURE]
