"""A diagnosis as JSON for other programs: `"schema": "twogauge.diagnosis/1"`.

Keys keep their order and are always there; a list may be empty, and a number that does not exist is null. Within
version 1 keys may be added, never renamed or removed. Every number is SI (`value` with its `unit` beside it);
`display` is the same in the reader's units. Weights are decibans. Nothing is rounded.

    schema       "twogauge.diagnosis/1"
    verdict      "fault", "normal", "too_close", "not_enough" or "gated"
    close        [fault id]  those that cannot be told apart from the first, the first included
    ranking      [{fault, title, probability, weight_db, prior_db, nothing_wrong, serious, what_happens,
                   reasons [reason], confirm [text], repair [text], cautions [caution],
                   notes [{pack, note}]}]
                 every hypothesis that applies, most probable first, also that nothing is wrong; they sum to 1
    reason       {rule, title, text, weight_db, degree, topic, counted, pack, notes [{pack, note}], source}
                 degree is the probability that the rule's condition holds; counted is false where a stronger reason
                 of the same topic took its place (of those at most the 100 strongest); title begins with "Not so:"
                 where the condition does not hold
    unexplained  [reason]  what speaks against the first (weight_db below 0), or for others only (weight_db 0)
    gates        [{gate, title, text, instead, degree}]  what makes readings meaningless here
    derived      [{quantity, about, value, u, unit, display, normal [low, high] or null, judged_by, level}]
                 u is the standard uncertainty; display is with twice that, which holds 19 times in 20;
                 an end of normal that does not exist (beyond the critical point) is null; judged_by is
                 "usual", "baseline", "spec", "told", "target" or null; level is "low", "normal", "high" or null;
                 pressures are absolute, and shown as on the dial
    missing      [{quantity, reason}]
    next, sure, instruments, second
                 what goes on from here, described in output/outlook.py
    warnings     [text]
    cautions     [{caution, short, text}]  every caution of the advice in this document
    packs        [{pack, edition}]
    disabled     [{id, why}]  what a pack took out
    reading      {units, numbers {field: {value, unit}}, swings {field: {low, high, unit}}, words {field or check:
                 word}, texts {field: text}, spec {field: {low, high, unit}}, barometer {value, unit, from},
                 baseline: reading or null, notes [text]}
"""

from __future__ import annotations

import json
import math
from typing import Any, Final

from twogauge.diagnosis import Diagnosis, GateShut, Ranked, Reason, Shown, Warned
from twogauge.fields import FIELDS
from twogauge.outlook import Outlook
from twogauge.output import outlook
from twogauge.output.values import value_text
from twogauge.quantities import Dimension
from twogauge.reading import Reading

SCHEMA: Final = "twogauge.diagnosis/1"

FREE_TEXT: Final = ("low_gauge", "high_gauge", "thermometer", "machine", "date", "note")

SI_UNIT: Final = {
    Dimension.PRESSURE: "Pa",
    Dimension.PRESSURE_DIFFERENCE: "Pa",
    Dimension.TEMPERATURE: "K",
    Dimension.TEMPERATURE_DIFFERENCE: "K",
    Dimension.FRACTION: "1",
    Dimension.ROTATIONAL_SPEED: "1/min",
    Dimension.DURATION: "s",
    Dimension.LENGTH: "m",
    Dimension.MASS: "kg",
    Dimension.VOLUME: "m3",
    Dimension.NUMBER: "1",
}


def as_json(diagnosis: Diagnosis, ahead: Outlook) -> str:
    """Return the document as text, with a line feed at its end.

    Args:
        diagnosis: the answer.
        ahead: what goes on from it.

    Raises:
        ValueError: never for a diagnosis of this package; a NaN that slipped in would raise it.
    """
    return json.dumps(document(diagnosis, ahead), indent=2, allow_nan=False, ensure_ascii=True) + "\n"


def document(diagnosis: Diagnosis, ahead: Outlook) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers.

    Args:
        diagnosis: the answer.
        ahead: what goes on from it.
    """
    cautions = dict.fromkeys((*diagnosis.cautions, *(c for step in ahead.steps for c in step.cautions)))
    return {
        "schema": SCHEMA,
        "verdict": diagnosis.verdict,
        "close": list(diagnosis.close),
        "ranking": [_ranked(each) for each in diagnosis.ranking],
        "unexplained": [_reason(each) for each in diagnosis.unexplained],
        "gates": [_gate(each) for each in diagnosis.gates],
        "derived": [_shown(each, diagnosis) for each in diagnosis.derived],
        "missing": [{"quantity": name, "reason": reason} for name, reason in diagnosis.missing],
        **outlook.document(ahead),
        "warnings": list(diagnosis.warnings),
        "cautions": [_caution(each) for each in cautions],
        "packs": [{"pack": name, "edition": edition} for name, edition in diagnosis.packs],
        "disabled": [{"id": name, "why": why} for name, why in diagnosis.disabled],
        "reading": _reading(diagnosis.reading),
    }


def _ranked(ranked: Ranked) -> dict[str, Any]:
    return {
        "fault": ranked.fault,
        "title": ranked.title,
        "probability": _number(ranked.probability),
        "weight_db": _number(ranked.weight),
        "prior_db": _number(ranked.prior),
        "nothing_wrong": ranked.nothing_wrong,
        "serious": ranked.serious,
        "what_happens": ranked.what_happens,
        "reasons": [_reason(each) for each in ranked.reasons],
        "confirm": list(ranked.confirm),
        "repair": list(ranked.repair),
        "cautions": [_caution(each) for each in ranked.cautions],
        "notes": [{"pack": pack, "note": note} for pack, note in ranked.notes],
    }


def _reason(reason: Reason) -> dict[str, Any]:
    return {
        "rule": reason.rule,
        "title": reason.title,
        "text": reason.text,
        "weight_db": _number(reason.weight),
        "degree": _number(reason.degree),
        "topic": reason.topic,
        "counted": reason.counted,
        "pack": reason.pack,
        "notes": [{"pack": pack, "note": note} for pack, note in reason.notes],
        "source": reason.source,
    }


def _gate(gate: GateShut) -> dict[str, Any]:
    return {
        "gate": gate.gate,
        "title": gate.title,
        "text": gate.text,
        "instead": gate.instead,
        "degree": _number(gate.degree),
    }


def _shown(shown: Shown, diagnosis: Diagnosis) -> dict[str, Any]:
    return {
        "quantity": shown.name,
        "about": shown.about,
        "value": _number(shown.value),
        "u": _number(shown.u),
        "unit": SI_UNIT[shown.dimension],
        "display": value_text(shown, diagnosis.reading),
        "normal": None if shown.normal is None else [_number(end) for end in shown.normal],
        "judged_by": shown.judged_by or None,
        "level": shown.level or None,
    }


def _caution(caution: Warned) -> dict[str, str]:
    return {"caution": caution.caution, "short": caution.short, "text": caution.text}


def _reading(reading: Reading) -> dict[str, Any]:
    parts = reading.parts
    return {
        "units": reading.units.value,
        "numbers": {n: {"value": _number(value), "unit": _unit(n)} for n, value in sorted(parts.numbers.items())},
        "swings": {name: _ends(name, ends) for name, ends in sorted(parts.swings.items())},
        "words": dict(sorted(parts.words.items())),
        "texts": {name: str(reading.given[name]) for name in FREE_TEXT if reading.given.get(name)},
        "spec": {name: _ends(name, ends) for name, ends in sorted(parts.spec.items())},
        "barometer": {"value": _number(parts.barometer), "unit": "Pa", "from": parts.barometer_from},
        "baseline": None if reading.baseline is None else _reading(reading.baseline),
        "notes": list(parts.notes),
    }


def _ends(name: str, ends: tuple[float, float]) -> dict[str, Any]:
    return {"low": _number(ends[0]), "high": _number(ends[1]), "unit": _unit(name)}


def _unit(field: str) -> str:
    return SI_UNIT[FIELDS[field].dimension or Dimension.NUMBER]


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
