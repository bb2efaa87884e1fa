"""`twogauge refrigerants`: the list of what is known, or everything about one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.common import UnitsOption
from twogauge.quantities import Dimension, UnitSet, show, symbol_for

if TYPE_CHECKING:
    from twogauge.output.paper import Paper
    from twogauge.output.style import Style
    from twogauge.refrigerants import Phase, Refrigerant

_ROOM_FOR_LABELS: Final = 60  # [characters] in a narrower line a label stands before its text, not beside it
_ROOM_FOR_NAMES: Final = 14  # [characters] less would cut most names of what a refrigerant is


@answering
def refrigerants(
    name: Annotated[str | None, typer.Argument(metavar="[REFRIGERANT]", help="Tell about this one.")] = None,
    *,
    units: UnitsOption = UnitSet.US,
) -> Answered:
    """List the refrigerants, or tell all about one."""
    from twogauge.refrigerants import get

    if name is None:
        return Answered(_documents, lambda paper: _write_list(paper, units))
    one = get(name)
    return Answered(lambda: _document(one), lambda paper: _write(paper, one, units))


def _documents() -> list[dict[str, Any]]:
    from twogauge.refrigerants import summaries

    return [
        {
            "id": one.id,
            "title": one.title,
            "chemical name": one.chemical_name,
            "kind": one.kind,
            "safety class": one.safety_class,
            "glide at 101325 Pa / K": None if math.isnan(one.glide) else one.glide,
            "grade": one.grade,
            "aliases": list(one.aliases),
        }
        for one in summaries()
    ]


def _write_list(paper: Paper, units: UnitSet) -> None:
    from twogauge.output.paper import Pairs, Table
    from twogauge.refrigerants import GRADES, summaries

    head = ("name", "class", "kind", "glide", "grade", "what it is")
    rows: list[tuple[str, ...]] = []
    for one in summaries():
        glide = _glide(one.glide, one.kind, units).partition(" ")[0]
        rows.append((one.title, one.safety_class, one.kind, glide, one.grade, one.chemical_name))
    commands = [f"twogauge refrigerants {one.id}" for one in summaries()]
    paper.laid_out(Table("Refrigerants", rows, head, commands), lambda style: _list(head, rows, style))
    unit = symbol_for(Dimension.TEMPERATURE_DIFFERENCE, units)
    words = [
        ("class", "ASHRAE 34; A or B is toxicity, 1 to 3 is flammability."),
        ("glide", f"dew minus bubble temperature at standard atmospheric pressure [{unit}]."),
        ("grade", "how the saturation curve agrees with published tables;"),
    ]
    paper.laid_out(
        Pairs("What the columns mean", words),
        lambda style: ["", *(line for name, text in words for line in style.wrap_after(text, f"{name}: "))],
    )
    paper.laid_out(
        Pairs("What the grades mean", list(GRADES.items())),
        lambda style: [
            *(line for grade, meaning in GRADES.items() for line in style.wrap_after(meaning, f"  {grade:9}  ")),
            *style.wrap("twogauge refrigerants NAME tells more about one.", "", "  "),
        ],
    )


def _list(head: tuple[str, ...], rows: list[tuple[str, ...]], style: Style) -> list[str]:
    widths = [max(len(row[k]) for row in (head, *rows)) for k in range(5)]
    room = style.width - sum(widths) - 2 * 5
    lines = []
    if room >= _ROOM_FOR_NAMES:
        for *cells, what in (head, *rows):
            name, safety, kind, _, grade = (f"{cell:{width}}" for cell, width in zip(cells, widths, strict=True))
            lines.append("  ".join((name, safety, kind, cells[3].rjust(widths[3]), grade, _cut(what, room))))
    else:
        for name, safety, kind, glide, grade, what in rows:
            lines += style.wrap(f"{name}: {what}; class {safety}, {kind}, glide {glide}, {grade}", "", "  ")
    return lines


def _write(paper: Paper, one: Refrigerant, units: UnitSet) -> None:
    from twogauge.output.paper import Pairs, Points

    facts: list[tuple[str, str]] = [("also called", ", ".join(one.aliases)), ("kind", one.kind)]
    if one.composition:
        shares = ", ".join(f"{share * 100:g} % {part}" for part, share in one.composition.items())
        facts.append(("by mass", shares))
    critical = f"{_temperature(one.critical_temperature, units)}, {_absolute(one.critical_pressure, units)}"
    facts += [
        ("safety class", f"{one.safety_class} (ASHRAE 34)"),
        ("exposure limits", ", ".join(_limit(key, limit) for key, limit in one.exposure_limits.items())),
        ("critical point", critical),
        ("glide", _glide(one.glide, one.kind, units)),
        ("lubricants", ", ".join(one.lubricants)),
        *_curves(one, units),
        ("grade", f"{one.grade}: {one.grade_reason}"),
    ]
    known = [(label, text) for label, text in facts if text]
    paper.about(f"{one.title}, {one.chemical_name}")
    paper.laid_out(Pairs("What is known of it", known), lambda style: _labelled(known, style))
    cautions = list(one.cautions)
    paper.laid_out(
        Points("Cautions", cautions, care=True), lambda style: ["", "Cautions", *_hanging("  - ", cautions, style)]
    )
    equations: dict[str, str] = one.provenance["equations of state"]
    sources = [(fact.replace("_", " "), str(source)) for fact, source in one.sources.items()]
    sources.append(("equations of state", ", ".join(f"{k} {v}" for k, v in equations.items())))
    lines = [f"{fact}: {source}" for fact, source in sources]
    paper.laid_out(Pairs("Sources", sources, fine=True), lambda style: ["", "Sources", *_hanging("  ", lines, style)])


def _labelled(facts: list[tuple[str, str]], style: Style) -> list[str]:
    if style.width < _ROOM_FOR_LABELS:
        return _hanging("  ", [f"{label}: {text}" for label, text in facts], style)
    return [line for label, text in facts for line in style.wrap_after(text, f"  {label:<17}")]


def _hanging(begin: str, texts: list[str], style: Style) -> list[str]:
    return [line for text in texts for line in style.wrap(text, begin, "    ")]


def _curves(one: Refrigerant, units: UnitSet) -> list[tuple[str, str]]:
    """Say from where to where each curve goes and how far it is from its origin."""
    deviations = one.provenance["largest deviation from CoolProp / K"]
    facts = []
    for phase in _phases(one):
        off = deviations[phase if one.kind != "pure" else "pure"]
        low, high = (_temperature(end, units) for end in (one.temperature_min(phase), one.temperature_max(phase)))
        bottom, top = (_absolute(end, units) for end in (one.pressure_min(phase), one.pressure_max(phase)))
        facts.append(
            (
                "curve" if one.kind == "pure" else f"{phase} curve",
                f"{low} to {high}, {bottom} to {top}; largest error {off:.1g} K against CoolProp "
                + str(one.provenance["CoolProp version"]),
            )
        )
    return facts


def _phases(one: Refrigerant) -> tuple[Phase, ...]:
    return ("dew",) if one.kind == "pure" else ("bubble", "dew")


def _document(one: Refrigerant) -> dict[str, Any]:
    return {
        "id": one.id,
        "title": one.title,
        "chemical name": one.chemical_name,
        "aliases": list(one.aliases),
        "kind": one.kind,
        "composition / kg/kg": dict(one.composition),
        "safety class": one.safety_class,
        "exposure limits": dict(one.exposure_limits),
        "critical temperature / K": one.critical_temperature,
        "critical pressure / Pa": one.critical_pressure,
        "glide at 101325 Pa / K": None if math.isnan(one.glide) else one.glide,
        "lubricants": list(one.lubricants),
        "cautions": list(one.cautions),
        "grade": one.grade,
        "grade reason": one.grade_reason,
        "curves": {
            "pure" if one.kind == "pure" else phase: {
                "temperature from / K": one.temperature_min(phase),
                "temperature to / K": one.temperature_max(phase),
                "pressure from / Pa": one.pressure_min(phase),
                "pressure to / Pa": one.pressure_max(phase),
            }
            for phase in _phases(one)
        },
        "made by": dict(one.provenance),
        "sources": dict(one.sources),
    }


def _limit(key: str, limit: float) -> str:
    name, _, unit = key.partition(" / ")
    return f"{name} {limit:g} {unit}"


def _temperature(kelvin: float, units: UnitSet) -> str:
    return show(kelvin, Dimension.TEMPERATURE, units, 1)


def _absolute(pressure: float, units: UnitSet) -> str:
    return f"{show(pressure, Dimension.PRESSURE, units)} absolute"


def _glide(glide: float, kind: str, units: UnitSet) -> str:
    if kind == "pure":
        return "none"
    return show(glide, Dimension.TEMPERATURE_DIFFERENCE, units, 1)


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."
