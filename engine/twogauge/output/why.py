"""Why a rule fired on a reading or did not, for a person and as JSON: `"schema": "twogauge.why/1"`.

Keys of the document keep their order and are always there. Within version 1 keys may be added, never renamed or
removed. Nothing is rounded; numbers are SI, and null where there is none.

    schema       "twogauge.why/1"
    id, kind, title, topic (null for a gate), pack
    state        holds, does_not_hold, could_be_either, cannot_be_judged, does_not_apply or disabled
    degree       probability that all conditions hold
    conditions   [{name, wanted {key: as written}, degree, told, value, u, unit, normal [low, high], by, missing, needs}]
    applies_to   [{field, wanted, told, fits}]
    silenced_by  [{gate, title, degree, share}]
    says         [{fault, says_db, otherwise_db, weight_db, counted, stronger {rule, weight_db}}]
    silences     [topic] of a gate
    disabled     {by, note, file, line, column} or null

Knows results only; packs/why.py explains.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from twogauge.output.style import Style
from twogauge.output.values import value_text
from twogauge.packs.why import Fit, Look, Say, Silence, Why
from twogauge.quantities import UnitSet, symbol_for
from twogauge.quantity_table import QUANTITIES

if TYPE_CHECKING:
    from twogauge.packs.in_force import Disabled
    from twogauge.reading import Reading

SCHEMA: Final = "twogauge.why/1"

_STATES: Final = {
    "holds": "It holds",
    "does_not_hold": "It does not hold",
    "could_be_either": "It could be either, so it says next to nothing",
    "cannot_be_judged": "It cannot be judged, so it says nothing",
    "does_not_apply": "It does not apply to this system, so it says nothing",
}
_BY: Final = {
    "usual": "usual on machines of this kind",
    "baseline": "of the known-good reading of this machine",
    "spec": "of the maker for this day",
    "target": "around what the label or the table asks for",
}


def as_text(found: Why | Disabled, style: Style, where: str = "") -> str:
    """Return the story in plain words, with a line feed at its end.

    Args:
        found: what packs/why.py told.
        style: how to print.
        where: file and line of the rule, if they are worth showing.
    """
    if not isinstance(found, Why):
        lines = [style.bold(f"{found.id}, {found.kind.removesuffix('s')} of pack {found.owner}")]
        lines += style.wrap(f"It is disabled by {found.pack}, so it says nothing: {found.note}", "  ")
        return "\n".join([*lines, f"  {style.dim(style.clean(str(found.place)))}"]) + "\n"
    topic = f", topic {found.topic}" if found.topic else ""
    lines = [style.bold(line) for line in style.wrap(f"{found.id}: {found.title}")]
    lines += style.wrap(f"{found.kind} of pack {found.pack}{topic}", "  ", "    ")
    lines += [f"  {style.dim(style.clean(where))}"] if where else []
    lines += ["", *style.wrap(_verdict(found))]
    lines += _fits(found, style) + _looks(found, style) + _gates(found, style) + _says(found, style)
    if found.kind == "gate":
        share = max(0.0, 2.0 * found.degree - 1.0) if not math.isnan(found.degree) else 0.0
        lines += _head("What it keeps quiet", style)
        lines += style.wrap(f"{share:.0%} of what is said under: {', '.join(found.silences)}", "  ")
    return "\n".join(lines) + "\n"


def _verdict(found: Why) -> str:
    told = _STATES[found.state]
    if found.state == "cannot_be_judged" and found.needs:
        return f"{told}. What would help: {', '.join(found.needs)}."
    if math.isnan(found.degree):
        return f"{told}."
    return f"{told}, with a degree of {found.degree:.2f} (1 surely, 0 surely not, 0.5 counts for nothing)."


def _head(text: str, style: Style) -> list[str]:
    return ["", style.bold(text)]


def _fits(found: Why, style: Style) -> list[str]:
    if not found.fits:
        return []
    lines = _head("What it applies to", style)
    for fit in found.fits:
        lines += style.wrap(_fit(fit), "  yes  " if fit.fits else "  no   ", "       ")
    return lines


def _fit(fit: Fit) -> str:
    told = f"this one is {fit.told}" if fit.told else "the reading does not say"
    return f"{fit.field} {' or '.join(fit.wanted)}; {told}"


def _looks(found: Why, style: Style) -> list[str]:
    lines = _head("What must hold, all of it", style)
    for look in found.looks:
        degree = "  ?  " if math.isnan(look.degree) else f"{look.degree:5.2f}"
        lines += style.wrap(_wanted(look, found.reading), f"  {degree}  ", "         ")
        lines += style.wrap(_seen(look, found.reading), "         ")
    return lines


def _wanted(look: Look, reading: Reading) -> str:
    """Return a condition in the reader's units, with what its author wrote where that looks different."""
    name, condition = look.condition.name, look.condition
    as_written = " and ".join(f"{_KEY.get(key, key)} {value}" for key, value in look.written.items())
    if not condition.edges or name not in QUANTITIES or QUANTITIES[name].is_level:
        return f"{name} {as_written}"
    dimension = QUANTITIES[name].dimension
    low = [edge for edge in condition.edges if edge.sign > 0]
    high = [edge for edge in condition.edges if edge.sign < 0]
    parts = [f"above {reading.show(dimension, edge.threshold)}" for edge in low]
    parts += [f"below {reading.show(dimension, edge.threshold)}" for edge in high]
    return f"{name} {' and '.join(parts)} (as written: {as_written})"


_KEY: Final = {"is_not": "is not", "any_of": "is one of"}


def _seen(look: Look, reading: Reading) -> str:
    if look.missing:
        needs = f"; tell {' and '.join(look.needs)}" if look.needs else ""
        return f"Not known: {look.missing}{needs}."
    if look.shown is None:
        return f"It is {look.told}."
    shown = look.shown
    value = value_text(shown, reading)
    if shown.name == look.condition.name:
        return f"It is {value}."
    beside = ""
    if shown.normal is not None:
        low, high = (reading.show(shown.dimension, end) for end in shown.normal)
        beside = f", and {low} to {high} is {_BY.get(shown.judged_by, 'normal here')}"
    return f"It is {look.told}: {shown.name} is {value}{beside}."


def _gates(found: Why, style: Style) -> list[str]:
    if not found.silenced_by:
        return []
    lines = _head("What keeps it quiet", style)
    for gate in found.silenced_by:
        lines += style.wrap(_silence(gate), "  ", "    ")
    return lines


def _silence(gate: Silence) -> str:
    return (
        f"{gate.gate}: {gate.title} (degree {gate.degree:.2f}); it takes away {gate.share:.0%} of what this rule says"
    )


def _says(found: Why, style: Style) -> list[str]:
    if not found.says:
        return []
    lines = _head("What it says of each fault", style)
    width = max(len(say.fault) for say in found.says)
    for say in found.says:
        number = f"{say.weight:+.1f} dB" if abs(say.weight) >= 0.05 else "nothing"
        lines += style.wrap_after(_became(say), f"  {say.fault:{width}}  {number:>9}  ")
    return lines


def _became(say: Say) -> str:
    rule = [f"{say.says:+g} where it holds"] if say.says else []
    rule += [f"{say.otherwise:+g} where it does not"] if say.otherwise else []
    has = f"(the rule has {' and '.join(rule) or 'nothing'})"
    if abs(say.weight) < 0.05:
        return has
    if say.counted:
        return f"counted {has}"
    if say.stronger:
        return f"did not count: {say.stronger} says {say.stronger_weight:+.1f} dB about the same {has}"
    return f"did not count {has}"


# -- JSON -----------------------------------------------------------------------------------------------------------


def document(found: Why | Disabled, units: UnitSet) -> dict[str, Any]:
    """Return the story for a program.

    Args:
        found: what packs/why.py told.
        units: the reader's; numbers are SI all the same, and `unit` names what they would be printed in.
    """
    if not isinstance(found, Why):
        place = found.place
        gone = {"by": found.pack, "note": found.note, "file": place.path, "line": place.line, "column": place.column}
        return {
            "schema": SCHEMA,
            "id": found.id,
            "kind": found.kind.removesuffix("s"),
            "title": getattr(found.node.get("title"), "text", None),
            "topic": getattr(found.node.get("topic"), "text", None),
            "pack": found.owner,
            "state": "disabled",
            "degree": None,
            **{key: [] for key in ("conditions", "applies_to", "silenced_by", "says", "silences")},
            "disabled": gone,
        }
    return {
        "schema": SCHEMA,
        "id": found.id,
        "kind": found.kind,
        "title": found.title,
        "topic": found.topic or None,
        "pack": found.pack,
        "state": found.state,
        "degree": _or_null(found.degree),
        "conditions": [_condition(look, units) for look in found.looks],
        "applies_to": [
            {"field": f.field, "wanted": list(f.wanted), "told": f.told or None, "fits": f.fits} for f in found.fits
        ],
        "silenced_by": [
            {"gate": g.gate, "title": g.title, "degree": g.degree, "share": g.share} for g in found.silenced_by
        ],
        "says": [_say(say) for say in found.says],
        "silences": list(found.silences),
        "disabled": None,
    }


def _condition(look: Look, units: UnitSet) -> dict[str, Any]:
    shown = look.shown
    return {
        "name": look.condition.name,
        "wanted": dict(look.written),
        "degree": _or_null(look.degree),
        "told": look.told or None,
        "of": shown.name if shown else None,
        "value": shown.value if shown else None,
        "u": shown.u if shown else None,
        "unit": symbol_for(shown.dimension, units) if shown else None,
        "normal": list(shown.normal) if shown and shown.normal else None,
        "by": (shown.judged_by or None) if shown else None,
        "missing": look.missing or None,
        "needs": list(look.needs),
    }


def _say(say: Say) -> dict[str, Any]:
    stronger = {"rule": say.stronger, "weight_db": say.stronger_weight} if say.stronger else None
    return {
        "fault": say.fault,
        "says_db": say.says,
        "otherwise_db": say.otherwise,
        "weight_db": say.weight,
        "counted": say.counted,
        "stronger": stronger,
    }


def _or_null(value: float) -> float | None:
    return None if math.isnan(value) else value
