"""The shop's case book: confirmed cases, one JSON object a line, and what can be learned from them.

    {"reading": {...}, "faults": [ID], "confirmed": DATE, "note": TEXT, "packs": {PACK: EDITION}, "twogauge": VERSION}

Lines are only ever added. Each is written whole, in one call at the end of the file, and is on the disk before the
lock (where the system has one for files) is let go, so two people at once lose nothing. cases.py reads the book.

What is learned never changes a rule: `rule_records` says how each rule fared, `propose` works out priors from the
counts, and `as_pack` writes those as a pack that a person may adopt or not.
"""

from __future__ import annotations

import json
import math
import os
import re
import stat
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from twogauge.cases import Case
from twogauge.diagnosis import columns_of
from twogauge.errors import InputError, shown
from twogauge.locks import lock
from twogauge.packs.compile import Hypothesis, Program
from twogauge.packs.words import HOW_COMMON
from twogauge.reading import Reading
from twogauge.weigh import weigh_chunk

PRIOR_CASES: Final = 20.0  # how many cases the priors in force are worth; a workshop's month or two of cooling work
AT_ODDS: Final = 0.05  # a word changes only if a count this far off had at most this chance under the share in force
SPEAKS: Final = 1.0  # [decibans] a rule that says less about a fault says nothing
PROPOSED: Final = "Priors from a case book"  # title of a proposed pack; by it a later count knows not to count twice
_LONGEST_NOTE: Final = 2000  # characters
_CHUNK: Final = 256  # cases whose ledgers are held at a time


# -- writing --------------------------------------------------------------------------------------------------------


def entry(
    reading: Reading, faults: Sequence[str], program: Program, *, confirmed: str, note: str = "", version: str = ""
) -> str:
    """Return the line of one confirmed case, with its line feed.

    Args:
        reading: as it was given; a baseline that is a file is written out, so that the book needs no other file.
        faults: ids of what was found, the main cause first, or of nothing being wrong.
        program: the packs in force.
        confirmed: the day.
        note: anything worth keeping.
        version: of this package.

    Raises:
        InputError: the note is too long, or no plain text.
    """
    said = " ".join(note.split())
    if len(said) > _LONGEST_NOTE or not said.isprintable():
        raise InputError(f"the note must be plain text of at most {_LONGEST_NOTE} characters; shorten it")
    content: dict[str, Any] = {"reading": _as_given(reading), "faults": list(faults), "confirmed": confirmed}
    if said:
        content["note"] = said
    content["packs"] = {header.pack: header.edition for header in program.stack.packs}
    content["twogauge"] = version
    return json.dumps(content, ensure_ascii=True, allow_nan=False) + "\n"


def _as_given(reading: Reading) -> dict[str, Any]:
    given = {**reading.given, "units": reading.units.value}
    if reading.baseline is not None:
        given["baseline"] = _as_given(reading.baseline)
    return given


def append(book: str | Path, line: str) -> None:
    """Add one line at the end of the book; make the book if there is none.

    A last line that somebody's power cut left without its end is closed first, so that it spoils no other.

    Raises:
        InputError: the book cannot be written, or is no regular file. Nothing that stood in it has changed.
    """
    name = os.fspath(book)
    try:
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
        handle = os.open(name, flags | getattr(os, "O_BINARY", 0), 0o666)
        try:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise InputError(f"{name} is not a regular file; name a file for the case book")
            lock(handle, name)
            data = line.encode()
            size = os.lseek(handle, 0, os.SEEK_END)
            if size:
                os.lseek(handle, size - 1, os.SEEK_SET)
                if os.read(handle, 1) != b"\n":
                    data = b"\n" + data
            while data:  # a regular file takes all at once, unless the disk is full
                data = data[os.write(handle, data) :]
            os.fsync(handle)
        finally:
            os.close(handle)  # lets go of the lock too
    except (OSError, ValueError) as error:  # ValueError: a NUL inside the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{name} cannot be written ({reason}); check the folder and its permissions") from None


# -- how the rules fared --------------------------------------------------------------------------------------------


@dataclass(slots=True)
class RuleRecord:
    """How one rule fared on a set of cases.

    Attributes:
        rule: id.
        judged: [1] cases in which its inputs were there.
        held: [1] of these, where its condition more likely held than not.
        right: [1] cases in which it spoke for what was confirmed.
        against: [1] cases in which it spoke against what was confirmed.
        aside: [1] cases in which it spoke for other faults and said nothing of what was confirmed.
    """

    rule: str
    judged: int = 0
    held: int = 0
    right: int = 0
    against: int = 0
    aside: int = 0

    @property
    def wrong(self) -> int:
        """Cases [1] in which it led away from what was confirmed."""
        return self.against + self.aside

    def add(self, degree: np.ndarray, confirmed: np.ndarray, others: np.ndarray) -> None:
        """Count further cases.

        Args:
            degree: [1] shape (n,), NaN where the rule was not judged.
            confirmed: [decibans] shape (n,), what it said of what was confirmed.
            others: [decibans] shape (n,), the most it said for anything else.
        """
        silent = np.abs(confirmed) < SPEAKS
        self.judged += int((~np.isnan(degree)).sum())
        self.held += int((np.fmax(degree, 0.0) > 0.5).sum())
        self.right += int((confirmed >= SPEAKS).sum())
        self.against += int((confirmed <= -SPEAKS).sum())
        self.aside += int((silent & (others >= SPEAKS)).sum())


def rule_records(cases: Sequence[Case], program: Program) -> tuple[RuleRecord, ...]:
    """Return how each rule fared that could be judged, by id.

    Where a case has several causes, the one the rule said most for counts. What a gate silenced was not said.

    Raises:
        ValueError: no case at all.
    """
    records: dict[str, RuleRecord] = {}
    columns = columns_of([case.reading for case in cases])
    for start in range(0, len(cases), _CHUNK):
        chunk = cases[start : start + _CHUNK]
        _, ledger = weigh_chunk(columns.rows(start, start + len(chunk)), program)
        plan = ledger.plan
        said = np.zeros((len(plan.rules), len(plan.hypotheses), len(chunk)))
        for (rule, hypothesis), row in zip(plan.terms, ledger.contribution, strict=True):
            said[rule, hypothesis] = row
        published = np.array([[name in case.faults for case in chunk] for name in plan.hypotheses])
        confirmed = np.where(published, said, -np.inf).max(axis=1)
        others = np.where(published, -np.inf, said).max(axis=1)
        for i, each in enumerate(plan.rules):
            if not np.isnan(ledger.degree[i]).all():
                record = records.setdefault(each.id, RuleRecord(each.id))
                record.add(ledger.degree[i], confirmed[i], others[i])
    return tuple(records[name] for name in sorted(records))


# -- priors from counts ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Prior:
    """How common one fault is, before and after counting.

    Attributes:
        fault: id.
        count: [1] how often it was confirmed.
        before, after: words for how common it is.
        share_before, share_after: [1] of all faults: as the priors in force say, and the posterior mean.
        decibans: [decibans] what the posterior mean amounts to; the word is the nearest to it.
    """

    fault: str
    count: int
    before: str
    after: str
    share_before: float
    share_after: float
    decibans: float

    @property
    def changed(self) -> bool:
        """Whether another word fits better now."""
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the counts say about the priors.

    Attributes:
        priors: every fault, by id; nothing being wrong is not among them.
        repairs: [1] confirmed cases with a fault.
        sound: [1] confirmed cases without one; not counted.
        ground: pack -> edition, what the proposal builds on.
    """

    priors: tuple[Prior, ...]
    repairs: int
    sound: int
    ground: dict[str, int] = field(default_factory=dict)

    @property
    def changes(self) -> tuple[Prior, ...]:
        """The faults that get another word."""
        return tuple(prior for prior in self.priors if prior.changed)


def propose(cases: Sequence[Case], program: Program) -> Proposal:
    """Work out priors of the faults from confirmed cases.

    The shares of the faults get a Dirichlet prior: the priors in force, worth PRIOR_CASES cases in all. With n_i
    confirmed cases of fault i among N, the posterior mean is (PRIOR_CASES * p_i + n_i) / (PRIOR_CASES + N); as a
    ratio to p_i it moves the decibans in force, and the nearest word is proposed.

    Words are steps of 4 to 5 dB, and a fault that was not met in a dozen repairs would already fall by one. So a word
    changes only if the count itself is at odds with the share in force: had it been p_i, a count as far off on that
    side (binomial) would have had a chance of AT_ODDS at most. Without cases nothing changes.

    How often nothing is wrong is left alone: a book of repairs does not count the machines that were sent home.

    Raises:
        InputError: a proposal from a case book is already in force, and its cases would count twice.
    """
    for header in program.stack.packs:
        if header.title == PROPOSED:
            raise InputError(
                f"pack {header.pack!r} was itself proposed from a case book, and its cases would count twice; leave "
                f"its folder out of --rules and TWOGAUGE_RULES for this"
            )
    faults = [h for h in program.hypotheses if not h.nothing_wrong]
    ids = {h.id for h in faults}
    found = Counter(case.faults[0] for case in cases)
    repairs = sum(count for name, count in found.items() if name in ids)
    weights = {h.id: 10.0 ** (h.prior / 10.0) for h in faults}
    total = sum(weights.values())
    priors = []
    for each in faults:
        share = weights[each.id] / total
        mean = (PRIOR_CASES * share + found[each.id]) / (PRIOR_CASES + repairs)
        decibans = each.prior + 10.0 * float(np.log10(mean / share))
        before = _word_in_force(each, program)
        at_odds = _chance_so_far_off(found[each.id], repairs, share) <= AT_ODDS
        after = _nearest_word(decibans) if at_odds else before
        priors.append(Prior(each.id, found[each.id], before, after, share, mean, decibans))
    ground = {header.pack: header.edition for header in program.stack.packs}
    return Proposal(tuple(priors), repairs, len(cases) - repairs, ground)


def _word_in_force(hypothesis: Hypothesis, program: Program) -> str:
    return str(program.stack.faults[hypothesis.id].entry.how_common)


def _chance_so_far_off(count: int, of: int, share: float) -> float:
    """Return the chance [1] of `count` [1] or a count further from what is expected, among `of` [1] at `share` [1]."""
    wanted = range(count, of + 1) if count > of * share else range(count + 1)
    log_share, log_rest = math.log(share), math.log1p(-share)
    ways = (math.lgamma(of + 1) - math.lgamma(k + 1) - math.lgamma(of - k + 1) for k in wanted)
    return sum(math.exp(w + k * log_share + (of - k) * log_rest) for w, k in zip(ways, wanted, strict=True))


def _nearest_word(decibans: float) -> str:
    """Return the nearest word that fits a single fault (above 0 dB is for what is met more often than any)."""
    words = {word: value for word, value in HOW_COMMON.items() if value <= 0.0}
    return min(words, key=lambda word: (abs(words[word] - decibans), word))


def as_pack(proposal: Proposal, name: str) -> str:
    """Return the file of a pack that puts the proposal into force.

    Args:
        proposal: with at least one change.
        name: of the pack.
    """
    lines = [
        f"# {PROPOSED}: {proposal.repairs} confirmed repairs, and {proposal.sound} sound machines that do not count.",
        f"# The priors that were in force weigh as much as {PRIOR_CASES:g} cases, and a word changes only where the count",
        f"# is at odds with it (chance at most {AT_ODDS:.0%}). Not in force until this folder is named with --rules.",
        "#",
        "# fault, confirmed, share before -> after",
    ]
    lines += [f"#   {p.fault}, {p.count}, {p.share_before:.1%} -> {p.share_after:.1%}" for p in proposal.priors]
    ground = ", ".join(f"{pack}: {edition}" for pack, edition in proposal.ground.items())
    lines += ["", f"pack: {name}", f"title: {PROPOSED}", "edition: 1", f"builds_on: {{{ground}}}", "", "adjust:"]
    for p in proposal.changes:
        lines += [
            f"  {p.fault}:",
            "    note: >",
            f"      Confirmed {p.count} times in {proposal.repairs} repairs here: {p.share_after:.1%} of all faults,",
            f"      where {p.share_before:.1%} was assumed. It was '{p.before}'.",
            f"    how_common: {p.after}",
        ]
    return "\n".join(lines) + "\n"


def write_proposal(folder: str | Path, proposal: Proposal) -> Path | None:
    """Write the proposal as a pack into a new or empty folder, whose name becomes the pack's.

    Returns:
        the file, or None if no word changes and nothing was written.

    Raises:
        InputError: the folder holds something, cannot be written, or its name is no name for a pack.
    """
    from twogauge.files import write_atomically  # noqa: PLC0415 - most runs propose nothing

    if not proposal.changes:
        return None
    target = Path(folder)
    name = target.resolve().name
    if re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", name) is None or len(name) > 80 or name in proposal.ground:
        raise InputError(
            f"{shown(name)} cannot be the name of a new pack; name a folder in small letters and digits, words "
            f"joined by _, such as our_priors"
        )
    try:
        target.mkdir(parents=True, exist_ok=True)
        if any(target.iterdir()):
            raise InputError(f"{folder} is not empty, and nothing is overwritten; name a new folder")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{folder} cannot be made ({reason}); check the path and its permissions") from None
    write_atomically(target / "pack.yaml", as_pack(proposal, name))
    return target / "pack.yaml"
