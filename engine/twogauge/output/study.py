"""What `--study` adds to a diagnosis: what would settle most, how sure with these instruments, what is left over.

It is computed on demand, since it weighs hundreds of readings like the one at hand: next_checks.py, robustness.py and
second.py do that, this module only words it. JSON goes under the key "study":
    {next [{name, title, ask, how, also [field], cautions [{caution, short, text}], said [text], minutes, information,
    outcomes [{answer, meaning, probability, leader, before, after, mover,
    mover_before, mover_after}]}], sure {samples, same_leader, same_verdict, turning_point {field, shift} or null,
    said [text]}, instruments [text], second {remainder_db, faults [{fault, gain_db, odds_db}], suspects [{names,
    swapped, fault, probability, remainder_db}]}}
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from twogauge.fields import FIELDS
from twogauge.instruments import describe
from twogauge.next_checks import NextStep, next_checks
from twogauge.next_checks import sentences as step_sentences
from twogauge.output.style import Style
from twogauge.packs.compile import Program
from twogauge.reading import Reading
from twogauge.robustness import HowSure, how_sure
from twogauge.robustness import sentences as sure_sentences
from twogauge.second import Second, second


@dataclass(frozen=True, slots=True)
class Study:
    """The three answers for one reading."""

    steps: tuple[NextStep, ...]
    sure: HowSure
    rest: Second


def study(reading: Reading, program: Program) -> Study:
    """Compute everything; the reading is one that was diagnosed, with its profile filled in."""
    return Study(next_checks(reading, program), how_sure(reading, program), second(reading, program))


def as_text(found: Study, reading: Reading, program: Program, style: Style) -> str:
    """Return the study as plain text, to stand after the diagnosis."""
    titles = {name: loaded.entry.title for name, loaded in program.stack.faults.items()}
    lines: list[str] = []
    if found.steps:
        lines += ["", style.bold("What would settle most")]
        for number, step in enumerate(found.steps, start=1):
            lines += style.wrap(f"{step.title} (about {step.minutes:g} min)", f"  {number:>2}. ", "      ")
            lines += style.wrap(step.how, "      ") if step.how else []
            if step.also:
                lines += style.wrap(f"Together with: {', '.join(FIELDS[n].about for n in step.also)}.", "      ")
            for caution in step.cautions:
                lines += style.wrap(caution.short, "      ! ", "        ")
            for sentence in step_sentences(step, titles):
                lines += style.wrap(sentence, "      - ", "        ")
    lines += ["", style.bold("How sure, with these instruments")]
    for sentence in (*sure_sentences(found.sure, program, reading.units), *describe(reading)):
        lines += style.wrap(sentence, "  ")
    lines += _rest(found.rest, titles, style)
    return "\n".join(lines) + "\n"


def _rest(rest: Second, titles: dict[str, str], style: Style) -> list[str]:
    said = [
        f'A second fault may be there as well: "{titles[each.fault]}" would explain {each.gain:.0f} dB of what the first '
        f"leaves over."
        for each in rest.faults
    ]
    for each in rest.suspects:
        names = " and ".join(name.replace("_", " ") for name in each.names)
        then = f'everything else fits "{titles[each.fault]}" ({100 * each.probability:.0f} %)'
        if each.swapped:
            said.append(f"If {names} stand in each other's place (hoses swapped?), {then}.")
        else:
            said.append(f"If {names} is wrong, {then}: look at it again before anything is opened.")
    if not said:
        return []
    lines = ["", style.bold("What the first leaves over")]
    for sentence in said:
        lines += style.wrap(sentence, "  - ", "    ")
    return lines


def document(found: Study, reading: Reading, program: Program) -> dict[str, Any]:
    """Return the study as dicts, lists, texts and numbers."""
    point = found.sure.turning_point
    titles = {name: loaded.entry.title for name, loaded in program.stack.faults.items()}
    return {
        "next": [
            {
                "name": step.name,
                "title": step.title,
                "ask": step.ask,
                "how": step.how,
                "also": list(step.also),
                "cautions": [{"caution": c.caution, "short": c.short, "text": c.text} for c in step.cautions],
                "said": list(step_sentences(step, titles)),
                "minutes": step.minutes,
                "information": step.information,
                "outcomes": [
                    {
                        "answer": o.answer,
                        "meaning": o.meaning,
                        "probability": o.probability,
                        "leader": o.leader,
                        "before": o.before,
                        "after": o.after,
                        "mover": o.mover,
                        "mover_before": o.mover_before,
                        "mover_after": o.mover_after,
                    }
                    for o in step.outcomes
                ],
            }
            for step in found.steps
        ],
        "sure": {
            "samples": found.sure.samples,
            "same_leader": found.sure.same_leader,
            "same_verdict": found.sure.same_verdict,
            "turning_point": None if point is None else {"field": point.field, "shift": point.shift},
            "said": list(sure_sentences(found.sure, program, reading.units)),
        },
        "instruments": list(describe(reading)),
        "second": {
            "remainder_db": found.rest.remainder,
            "faults": [{"fault": f.fault, "gain_db": f.gain, "odds_db": f.odds} for f in found.rest.faults],
            "suspects": [
                {
                    "names": list(s.names),
                    "swapped": s.swapped,
                    "fault": s.fault,
                    "probability": s.probability,
                    "remainder_db": s.remainder,
                }
                for s in found.rest.suspects
            ],
        },
    }
