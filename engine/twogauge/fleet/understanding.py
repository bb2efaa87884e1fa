"""What the columns of each file mean: by the map, by its header, by the row of units below that; and whether all agree.

Files may write the same field in other units; they must tell the same fields.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Final

import pyarrow as pa

from twogauge.errors import FileProblems, InputError, QuantityError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.fleet.answer import SCHEMA
from twogauge.fleet.column_map import ColumnMap, header_name, known_names, map_from_header
from twogauge.fleet.scale import scale_of
from twogauge.fleet.sources import CsvSource
from twogauge.fleet.stretches import Options, Source, Stretch
from twogauge.fleet.text_rows import Wanted
from twogauge.quantities import UnitSet

_NEARLY: Final = 0.8  # how alike two names are, at most 1: one letter more or less, or two changed places
_MOST_NAMES: Final = 200  # of a header that are looked at for this
OWN: Final = ("file", "row", "machine", "time")  # columns of the output that are no answers


@dataclass(frozen=True, slots=True)
class Understood:
    """One file with what its columns mean.

    Attributes:
        source: the file.
        map: what its columns mean.
        wanted: what is read of it.
        near: (column, field or check): columns its header passes over that are nearly named like what none tells.
    """

    source: Source
    map: ColumnMap
    wanted: Wanted
    near: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """A column of the input that stands in the output too.

    Attributes:
        column: its name in the input.
        name: its name in the output.
        type: its type there; text where the files do not agree about it.
    """

    column: str
    name: str
    type: pa.DataType


def understand(
    sources: Sequence[Source],
    answers: Collection[str],
    *,
    column_map: ColumnMap | None = None,
    units: UnitSet = UnitSet.US,
    constants: Mapping[str, object] | None = None,
    keep: Sequence[str] = (),
    options: Options | None = None,
) -> list[Understood]:
    """Find out what the columns of each file mean.

    Args:
        sources: the files.
        answers: ids of the checks.
        column_map: of all files; None to read their headers.
        units: what bare numbers are where there is no map.
        constants: what holds for every row that tells nothing else.
        keep: further columns to be read.
        options: what a person said about the files.

    Raises:
        InputError: a column is missing, or the files do not tell the same fields.
    """
    options = options or Options()
    understood = [
        _one(source, _map_of(source, answers, column_map, units, options), constants or {}, keep)
        for source in sources
    ]
    if column_map is None:
        understood = [replace(each, near=_nearly_named(each, answers)) for each in understood]
    first = understood[0]
    for each in understood[1:]:
        _compare(first, each)
    return understood


@contextmanager
def naming(name: str) -> Iterator[None]:
    """Let what is wrong with a table name its file, where it does not yet.

    Raises:
        InputError: as within, with the name in front.
    """
    try:
        yield
    except FileProblems:
        raise
    except InputError as error:
        text = str(error)
        raise InputError(text if text.startswith(name) else f"{name}: {text}") from None


def _map_of(
    source: Source, answers: Collection[str], given: ColumnMap | None, units: UnitSet, options: Options
) -> ColumnMap:
    name = source.input.name
    row = source.units_row
    with naming(name):
        if given is not None:
            given.check_columns(source.names, name)
            found = given
        else:
            found = map_from_header(source.names, answers, units=units)
        if row and isinstance(source, CsvSource):
            if options.units_row or _are_units(found, source.names, row):
                found = _with_units(found, source.names, row)
            else:
                source.without_units_row()
    return found


def _nearly_named(each: Understood, answers: Collection[str]) -> tuple[tuple[str, str], ...]:
    known = known_names(answers)
    told = {*each.map.fields, *_marks(each.map)}
    free = [name for name, target in known.items() if target not in told]
    used = {*each.map.columns, each.map.machine, each.map.time}
    near: list[tuple[str, str]] = []
    for column in each.source.names[:_MOST_NAMES]:
        hits = [] if column in used else get_close_matches(header_name(column)[:80], free, 1, _NEARLY)
        near.extend((column, known[name]) for name in hits)
    return tuple(near)


def _are_units(found: ColumnMap, names: Sequence[str], row: Sequence[str]) -> bool:
    """Tell whether the row below the header holds units: one at least, and nothing else for any number."""
    some = False
    for field, place in _numbers(found, names):
        text = row[place] if place < len(row) else ""
        if not text:
            continue
        try:
            scale_of(FIELDS[field], text, found.units)
        except QuantityError:
            return False
        some = True
    return some


def _numbers(found: ColumnMap, names: Sequence[str]) -> list[tuple[str, int]]:
    return [
        (field, names.index(column))
        for field, source in found.fields.items()
        if field in FIELDS and FIELDS[field].dimension is not None
        for column in source.columns
    ]


def _with_units(found: ColumnMap, names: Sequence[str], row: Sequence[str]) -> ColumnMap:
    """Take the units of the row for the fields that have none of their own."""
    fields = dict(found.fields)
    for field, place in _numbers(found, names):
        text = row[place] if place < len(row) else ""
        if text and not found.fields[field].unit:
            try:
                scale_of(FIELDS[field], text, found.units)
            except QuantityError as error:
                raise InputError(f"the unit below {shown(names[place])}: {error}") from None
            fields[field] = replace(fields[field], unit=text)
    return replace(found, fields=fields)


def _one(source: Source, found: ColumnMap, constants: Mapping[str, object], keep: Sequence[str]) -> Understood:
    for column in keep:
        if column not in source.names:
            near = did_you_mean(column, source.names)
            hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
            raise InputError(f"--keep: {source.input.name} has no column {shown(column)}{hint}")
        if pa.types.is_nested(source.types.get(column, pa.null())):
            raise InputError(f"--keep: column {shown(column)} of {source.input.name} holds groups of values")
    found = found.with_constants(constants)
    numbers = {source.names[place] for _, place in _numbers(found, source.names)}
    handed_on = [name for name in (found.machine, found.time) if name]
    columns = dict.fromkeys([*found.columns, *keep])
    texts = frozenset([*handed_on, *keep]) - numbers
    return Understood(source, found, Wanted(tuple(columns), frozenset(numbers), texts))


def _compare(first: Understood, other: Understood) -> None:
    mine, others = ({*each.map.fields, *_marks(each.map)} for each in (first, other))
    for here, there, names in ((first, other, mine - others), (other, first, others - mine)):
        if names:
            told = ", ".join(sorted(names))
            raise InputError(
                f"{there.source.input.name} has no column for {told}, which {here.source.input.name} has; name the "
                "columns alike, leave one of the files out, or write a map (--map) of what they share"
            )


def _marks(found: ColumnMap) -> set[str]:
    return {name for name, column in (("machine", found.machine), ("time", found.time)) if column}


def behind(files: Sequence[Understood], place: int, stretch: Stretch) -> int:
    """Return how many bytes of all files lie behind at the end of a stretch of the file at `place`, about."""
    return sum(each.source.input.size for each in files[:place]) + stretch.done


def kept_columns(understood: Sequence[Understood], keep: Sequence[str]) -> tuple[Kept, ...]:
    """Return the columns of the input that the output keeps: the machine, the time, and those a person asks for."""
    found = []
    for name in ("machine", "time"):
        columns = [getattr(each.map, name) for each in understood]
        if columns[0]:
            found.append(Kept(columns[0], name, _common_type(understood, columns)))
    taken = {*OWN, *SCHEMA.names}
    for column in dict.fromkeys(keep):
        name = f"input_{column}" if column in taken else column
        found.append(Kept(column, name, _common_type(understood, [column] * len(understood))))
    return tuple(found)


def _common_type(understood: Sequence[Understood], columns: Sequence[str]) -> pa.DataType:
    kinds = {_plain(each.source.types.get(c, pa.string())) for each, c in zip(understood, columns, strict=True)}
    return kinds.pop() if len(kinds) == 1 else pa.string()


def _plain(kind: pa.DataType) -> pa.DataType:
    inner = kind.value_type if pa.types.is_dictionary(kind) else kind
    texts = pa.types.is_large_string(inner) or pa.types.is_string_view(inner) or pa.types.is_null(inner)
    return pa.string() if texts else inner
