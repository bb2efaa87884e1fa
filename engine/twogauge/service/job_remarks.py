"""What is worth a second look in a job sheet: times, amounts against the label, entries behind the last one.

Nothing here refuses or changes anything: what was written is kept, and marked.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from twogauge.errors import InputError
from twogauge.fields import DEFAULT_SYSTEM
from twogauge.quantities import Dimension, UnitSet, parse
from twogauge.refrigerants import get
from twogauge.service.facts import facts, number
from twogauge.service.job import AFTER_CLOSING, UNREADABLE, WEIGHED, Entry, Sheet, moment, weight
from twogauge.service.retrofit import RefusedError, retrofit

About = Literal["earlier", "future", "after_closed", "amount", "refrigerant"]
Numbered = tuple[int, Entry]


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing worth a second look.

    Attributes:
        entry: its number in the sheet.
        about: what kind of thing.
        sentence: what it is.
    """

    entry: int
    about: About
    sentence: str


def remarks(sheet: Sheet, now: datetime | None = None) -> tuple[Remark, ...]:
    """Return what is worth a second look, in the order of the entries; struck entries are left alone.

    Args:
        sheet: what was read.
        now: the time; that of the clock if None.
    """
    struck = sheet.struck
    counting = [
        (i, each)
        for i, each in enumerate(sheet.entries, start=1)
        if i not in struck and each.did not in {UNREADABLE, "strike"}
    ]
    found = (
        *_times(counting, datetime.now().astimezone() if now is None else now),
        *_behind_the_end(counting),
        *_amounts(sheet, counting),
    )
    return tuple(sorted(found, key=lambda each: each.entry))


def _times(counting: Iterable[Numbered], now: datetime) -> Iterable[Remark]:
    slack = timedelta(seconds=_limit("clock", Dimension.DURATION))
    latest: Numbered | None = None
    for i, each in counting:
        written = moment(each.text("written")) if each.text("written") else now
        if each.at > written + slack:
            yield Remark(i, "future", f"its time, {_shown(each.at)}, had not come yet when it was written")
            continue
        if latest is not None and each.at < latest[1].at:
            later = f", written down {_shown(written)}" if each.text("written") else ""
            yield Remark(i, "earlier", f"its time, {_shown(each.at)}, lies before that of entry {latest[0]}{later}")
            continue
        latest = (i, each)


def _behind_the_end(counting: Iterable[Numbered]) -> Iterable[Remark]:
    closed = False
    for i, each in counting:
        if each.did in {"closed", "reopened"}:
            closed = each.did == "closed"
        elif closed and each.did == "note":
            yield Remark(i, "after_closed", "noted after the job was finished; the job stays finished")
        elif closed and each.did not in AFTER_CLOSING:
            yield Remark(i, "after_closed", "stands behind the end of the job, which was not opened again")


@dataclass
class _Scale:
    """What went through the scale since it last turned from taking out to putting in, or back."""

    way: str = ""
    sums: dict[str, float] = field(default_factory=dict)
    before: float = 0.0  # [kg] what the run before weighed
    ever_charged: set[str] = field(default_factory=set)

    def take(self, entry: Entry) -> str:
        """Add one entry that was weighed, and return its refrigerant."""
        if entry.did != self.way:
            self.before, self.sums, self.way = self.total, {}, entry.did
        name = get(entry.text("refrigerant")).id
        self.sums[name] = self.sums.get(name, 0.0) + weight(entry)
        return name

    @property
    def total(self) -> float:
        """What this run weighed [kg]."""
        return sum(self.sums.values())


def _amounts(sheet: Sheet, counting: Iterable[Numbered]) -> Iterable[Remark]:
    written = sheet.latest("charge")
    label = parse(written, Dimension.MASS, units=UnitSet.US).value if written else 0.0
    named = get(sheet.latest("refrigerant")).id if sheet.latest("refrigerant") else ""
    system = sheet.latest("system") or DEFAULT_SYSTEM
    scale, least = _Scale(), 0.0
    for i, each in counting:
        if each.did in WEIGHED:
            name = scale.take(each)
            title = get(name).title
        if each.did == "recovered":
            if named and name != named and name not in scale.ever_charged:
                yield Remark(
                    i, "refrigerant", f"the label names {get(named).title}, and {title} came out: was it mixed?"
                )
            held = max(label, scale.before)
            if label and scale.total > _limit("recovered_over") * held:
                share = _percent(scale.total, held)
                what = f"the label ({written})" if held == label else "what was put in before"
                yield Remark(
                    i, "amount", f"{share} of {what} came out: overcharged, mixed, or a slip of the scale or unit"
                )
        elif each.did == "charged":
            if len(scale.sums) > 1:
                yield Remark(i, "refrigerant", f"{title} went on top of another refrigerant that was not taken out")
            scale.ever_charged.add(name)
            least, most, wrong = _wanted(named or name, name, label, system)
            if wrong:
                yield Remark(i, "refrigerant", wrong)
            if most and scale.total > _limit("charged_over") * most:
                share, of = _percent(scale.total, most), _of(written, named, name)
                yield Remark(
                    i, "amount", f"{share} of {of} is in it: overcharged, or a slip of the scale or unit; weigh again"
                )
        elif each.did == "closed" and scale.way == "charged" and scale.total < _limit("charged_under") * least:
            share, of = _percent(scale.total, least), _of(written, named, next(iter(scale.sums)))
            yield Remark(i, "amount", f"finished with {share} of {of} weighed in since it was last emptied")


def _wanted(named: str, name: str, label: float, system: str) -> tuple[float, float, str]:
    """Return the least and the most that should go in [kg], 0 where nothing says, and why it should not, or ""."""
    if not label:
        return 0.0, 0.0, ""
    if name == named:
        return label, label, ""
    try:
        change = retrofit(get(named), get(name), label, system)
    except RefusedError as error:
        return 0.0, 0.0, str(error)
    except InputError:
        return 0.0, 0.0, ""
    return change.start, change.stop, ""


def _of(written: str, named: str, name: str) -> str:
    if named and name != named:
        return f"what a retrofit from {get(named).title} asks for (label {written})"
    return f"the label ({written})"


def _percent(part: float, whole: float) -> str:
    return f"{100.0 * part / whole:.0f} %"


def _limit(key: str, dimension: Dimension = Dimension.NUMBER) -> float:
    return number(facts("job")[key], dimension).value


def _shown(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M")
