"""What goes on from a diagnosis: what would settle most, how sure it is with these instruments, what it leaves over.

A ranking is read off one weighing (diagnosis.py); these three weigh some hundred readings like the one at hand, which
takes tens of milliseconds, so a program that needs the ranking alone does without them. Here they are only gathered:
next_checks.py, robustness.py and second.py find them, output/outlook.py words them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from twogauge.diagnosis import program_for
from twogauge.instruments import describe
from twogauge.next_checks import NextStep, next_checks
from twogauge.packs.compile import Program
from twogauge.profiles import with_profile
from twogauge.reading import Reading
from twogauge.robustness import HowSure, how_sure
from twogauge.second import Second, second
from twogauge.weigh import Verdict


@dataclass(frozen=True, slots=True)
class Outlook:
    """The three answers for one reading.

    Attributes:
        reading: what they were asked of.
        steps: what to look at or measure next, the most telling per minute first; none once the answer is certain.
        sure: how often the first place survives the errors of the instruments, and which error would change it.
        rest: what the first leaves over, and what may be behind that.
        instruments: what was told and what was assumed about the instruments, in sentences.
        titles: hypothesis -> its title.
    """

    reading: Reading
    steps: tuple[NextStep, ...]
    sure: HowSure
    rest: Second
    instruments: tuple[str, ...]
    titles: Mapping[str, str]


def look_ahead(
    reading: Reading,
    *,
    rules: Sequence[str | Path] = (),
    without: Iterable[str] = (),
    program: Program | None = None,
) -> Outlook:
    """Ask what would settle most, how sure the answer is, and what it leaves over; the same every time.

    Args:
        reading: what was measured.
        rules: folders of packs to stack on the built-in ones, in order.
        without: ids of rules to leave out.
        program: a compiled stack, instead of `rules` and `without`.

    Raises:
        FileProblems: a pack that cannot be used.
        ReadingError: a check or an answer that no pack knows.
    """
    if program is None:
        program = program_for(tuple(str(folder) for folder in rules), tuple(without))
    reading = with_profile(reading, program)
    reading.validate_checks(program.answers)
    sure = how_sure(reading, program)
    gated = sure.verdict == Verdict.GATED.word  # the gate says itself what to do instead
    return Outlook(
        reading,
        () if gated else next_checks(reading, program),
        sure,
        second(reading, program),
        describe(reading),
        {name: loaded.entry.title for name, loaded in program.stack.faults.items()},
    )
