"""What goes on from a diagnosis, in words and as JSON: what would settle most, how sure, what is left over.

Nothing is computed here (outlook.py does that). In JSON:

    next         [{name, title, ask, how, minutes, also [field], answers [{answer, meaning}], information, cautions
                   [caution], outcomes [outcome], said [text]}]  the most telling per minute first; empty once the answer
                 is certain; information in bit; no answers where a number is wanted; said is what the text prints
    outcome      {answer, meaning, probability, leader, before, after, mover, mover_before, mover_after}
                 probability that this is found; who leads then, with its probability now and then; who moves most
    sure         {samples, varied [field], same_leader, same_verdict, takers [{fault, share}],
                  turning_points [{field, shift, value, u, unit, in_u, fault}], said [text]}
                 shares are parts of the samples; a turning point is the least error of one reading that would bring
                 another first, the smallest in standard uncertainties first
    instruments  [text]  what was told and what was assumed about them
    second       {remainder_db, faults [{fault, title, gain_db, odds_db}],
                  suspects [{names, swapped, fault, probability, remainder_db}], said [text]}
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from twogauge.fields import FIELDS
from twogauge.instruments import show_size
from twogauge.next_checks import NextStep, Outcome
from twogauge.outlook import Outlook
from twogauge.output.style import percent
from twogauge.quantities import Dimension, UnitSet
from twogauge.robustness import AIR, REACH, HowSure, TurningPoint
from twogauge.weigh import Verdict

LITTLE: Final = 0.02  # a probability that moves by less is called little changed
_NO_TURN: Final = f"No single reading changes that, even {REACH:.0f} standard uncertainties off."
SI_UNIT: Final = {Dimension.PRESSURE_DIFFERENCE: "Pa", Dimension.TEMPERATURE_DIFFERENCE: "K"}


def what_it_does(step: NextStep, titles: Mapping[str, str]) -> tuple[str, ...]:
    """Return what else a step needs and what each of its outcomes would do, a sentence each."""
    also = [f"Together with: {', '.join(FIELDS[name].about for name in step.also)}."] if step.also else []
    return (*also, *step_sentences(step, titles))


def how_to_tell(step: NextStep) -> str:
    """Return how the answer is given on the command line."""
    known = FIELDS.get(step.name)
    answers = ", ".join(answer for answer, _ in step.answers)
    if known is None:
        return f"--check {step.name}=ANSWER: {answers}"
    return f"--{known.flag} ANSWER: {answers}" if answers else f"--{known.flag} VALUE"


def how_sure(ahead: Outlook) -> tuple[str, ...]:
    """Return how often the first place survives, what would change it, and what the instruments are taken to be."""
    return (*sure_sentences(ahead.sure, ahead.titles, ahead.reading.units), *ahead.instruments)


def what_is_left(ahead: Outlook) -> tuple[str, ...]:
    """Return what may be behind that which the first leaves over, a sentence each."""
    said = [
        f'A second fault may be there as well: "{ahead.titles[each.fault]}" fits what the first leaves over; the two '
        f"together are {_times(each.odds)} the first alone."
        for each in ahead.rest.faults
    ]
    for each in ahead.rest.suspects:
        names = " and ".join(name.replace("_", " ") for name in each.names)
        then = f'everything else fits "{ahead.titles[each.fault]}" ({percent(each.probability)})'
        if each.swapped:
            said.append(f"If the {names} stand in each other's place (hoses swapped?), {then}.")
        else:
            said.append(f"If the {names} is wrong, {then}: look at it again before anything is opened.")
    return tuple(said)


def _times(decibans: float) -> str:
    """Write odds as a mechanic says them."""
    times = 10.0 ** (decibans / 10.0)
    if times >= 100.0:
        return "far more than 100 times as likely as"
    return "about as likely as" if times < 1.5 else f"about {times:.0f} times as likely as"


def step_sentences(step: NextStep, titles: Mapping[str, str]) -> tuple[str, ...]:
    """Return what each outcome would do to the ranking, a sentence each; those that change little share one.

    Args:
        step: what may be looked at.
        titles: hypothesis -> its title.
    """
    said, little = [], []
    for outcome in step.outcomes:
        before, after = percent(outcome.mover_before), percent(outcome.mover_after)
        if abs(outcome.mover_after - outcome.mover_before) < LITTLE or before == after:
            little.append(outcome.meaning)
            continue
        text = f'If {outcome.meaning}: "{titles[outcome.mover]}" goes from {before} to {after}'
        if outcome.leader not in (outcome.mover, step.first):
            text += f', and "{titles[outcome.leader]}" leads ({percent(outcome.after)})'
        said.append(f"{text}.")
    if little:
        said.append(f"If {', or if '.join(little)}: little changes.")
    return tuple(said)


def sure_sentences(found: HowSure, titles: Mapping[str, str], units: UnitSet) -> tuple[str, ...]:
    """Say it: how often, and how wrong; nothing where the answer names no first place.

    Args:
        found: what was found.
        titles: hypothesis -> its title.
        units: the reader's.
    """
    if found.verdict in {Verdict.GATED.word, Verdict.NOT_ENOUGH.word}:
        return ()
    if not found.varied:
        return ("No gauge and no thermometer was read, so none can be off.",)

    def title(fault: str) -> str:
        return f'"{titles[fault]}"'

    share = "all" if not found.takers else _share(found.same_leader)
    others = "".join(f", {title(taker.fault)} in {_share(taker.share)}" for taker in found.takers[:2])
    often = (
        f"Of {found.samples} readings as other instruments of this kind might give them, the same comes first in "
        f"{share}{others}."
    )
    point = found.turning_point
    if point is None:
        return often, _NO_TURN
    name = "air pressure" if point.field == AIR else point.field.replace("_", " ")
    size = show_size(abs(point.shift), point.dimension, units)
    way = "higher" if point.shift > 0 else "lower"
    wrong = f"If the {name} were {size} {way} than read, {title(point.fault)} would come first"
    return often, f"{wrong}: {point.in_u:.1f} times its standard uncertainty."


def _share(share: float) -> str:
    """Print a share of samples; what was met at all is not 0, and what was missed at all is not 100."""
    return f"{min(max(round(100.0 * share), 1), 99)} %"


def document(ahead: Outlook) -> dict[str, Any]:
    """Return the outlook as dicts, lists, texts and numbers."""
    sure, rest = ahead.sure, ahead.rest
    return {
        "next": [_step(step, ahead.titles) for step in ahead.steps],
        "sure": {
            "samples": sure.samples,
            "varied": list(sure.varied),
            "same_leader": sure.same_leader,
            "same_verdict": sure.same_verdict,
            "takers": [{"fault": taker.fault, "share": taker.share} for taker in sure.takers],
            "turning_points": [_turning_point(point) for point in sure.turning_points],
            "said": list(sure_sentences(sure, ahead.titles, ahead.reading.units)),
        },
        "instruments": list(ahead.instruments),
        "second": {
            "remainder_db": rest.remainder,
            "faults": [
                {"fault": f.fault, "title": ahead.titles[f.fault], "gain_db": f.gain, "odds_db": f.odds}
                for f in rest.faults
            ],
            "suspects": [
                {
                    "names": list(suspect.names),
                    "swapped": suspect.swapped,
                    "fault": suspect.fault,
                    "probability": suspect.probability,
                    "remainder_db": suspect.remainder,
                }
                for suspect in rest.suspects
            ],
            "said": list(what_is_left(ahead)),
        },
    }


def _step(step: NextStep, titles: Mapping[str, str]) -> dict[str, Any]:
    return {
        "name": step.name,
        "title": step.title,
        "ask": step.ask,
        "how": step.how,
        "minutes": step.minutes,
        "also": list(step.also),
        "answers": [{"answer": answer, "meaning": meaning} for answer, meaning in step.answers],
        "information": step.information,
        "cautions": [{"caution": c.caution, "short": c.short, "text": c.text} for c in step.cautions],
        "outcomes": [_outcome(outcome) for outcome in step.outcomes],
        "said": list(what_it_does(step, titles)),
    }


def _outcome(outcome: Outcome) -> dict[str, Any]:
    return {
        "answer": outcome.answer,
        "meaning": outcome.meaning,
        "probability": outcome.probability,
        "leader": outcome.leader,
        "before": outcome.before,
        "after": outcome.after,
        "mover": outcome.mover,
        "mover_before": outcome.mover_before,
        "mover_after": outcome.mover_after,
    }


def _turning_point(point: TurningPoint) -> dict[str, Any]:
    return {
        "field": point.field,
        "shift": point.shift,
        "value": point.value,
        "u": point.u,
        "unit": SI_UNIT[point.dimension],
        "in_u": point.in_u,
        "fault": point.fault,
    }
