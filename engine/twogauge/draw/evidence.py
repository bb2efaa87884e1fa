"""The ledger of evidence as a picture: for each of the likeliest faults what speaks for it and against it, in decibans."""

from __future__ import annotations

from typing import Final

from matplotlib.patches import Rectangle

from twogauge.diagnosis import Diagnosis, Ranked, Reason
from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme, mixed
from twogauge.draw.origin import of_rules
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.rows import BAR, Rows
from twogauge.draw.saturation import about
from twogauge.draw.sheet import Sheet
from twogauge.errors import InputError
from twogauge.output.style import percent

FAULTS: Final = 5  # that are drawn
REASONS: Final = 8  # of the first one that are named
_DENSE: Final = 0.55  # how much of its colour a bar has [1]
_LEAST: Final = 0.005  # [1] less likely ones are not drawn, but for the second


@drawn
def evidence_picture(diagnosis: Diagnosis, *, theme: Theme = LIGHT, size: Size = PAGE) -> Picture:
    """Draw what speaks for and against the likeliest faults.

    Args:
        diagnosis: of the reading.
        theme: light or dark.
        size: for a telephone or a page.

    Raises:
        InputError: these readings say nothing yet, so that nothing was weighed.
    """
    if diagnosis.gates:
        gate = diagnosis.gates[0]
        raise InputError(f"there is no evidence to draw: {gate.title}; {gate.instead or gate.text}")
    return _Painter(diagnosis, theme, size).paint()


class _Painter:
    def __init__(self, diagnosis: Diagnosis, theme: Theme, size: Size) -> None:
        self._diagnosis = diagnosis
        self._sheet = Sheet("What speaks for it, and against it", about(diagnosis), theme=theme, size=size, left=0.2)
        # Not the colours of the two gauges: here they would mean something else.
        self._for, self._against = theme.series[2], theme.series[3]
        self._prior = Mark(theme.muted, "", (), "")
        self._ends = [0.0, 0.0]

    def paint(self) -> Picture:
        sheet, ranking = self._sheet, self._diagnosis.ranking
        rows = Rows(sheet, sheet.size.width - 0.6)
        first = ranking[0]
        drawn_too = [each for k, each in enumerate(ranking[:FAULTS]) if k < 2 or each.probability >= _LEAST]
        for ranked in drawn_too:
            rows.words(f"{percent(ranked.probability)}  {ranked.title}", weight="bold")
            self._fault(ranked, rows.bar())
        counted = [reason for reason in first.reasons if reason.counted]
        if counted:
            rows.space()
            rows.words(f"Reason by reason: {first.title}", lines=2, muted=True)
            rows.space(0.5)
            for reason in counted[:REASONS]:
                rows.words(f"{reason.weight:+.1f} dB  {reason.title}")
                self._reason(reason, rows.bar())
        rows.finish()
        sheet.axes.axvline(0.0, color=sheet.theme.ink, linewidth=1.0, zorder=4)
        low, high = self._ends
        room = 0.05 * max(high - low, 10.0)
        sheet.axes.set_xlim(low - room, high + room)
        sheet.across("evidence / decibans (dB): against on the left, for on the right", most=7)
        sheet.key_area("speaks for it, each piece a reason", self._for, dense=_DENSE)
        sheet.key_area("speaks against it", self._against, dense=_DENSE)
        sheet.key_area("how common it is, before anything was read", self._prior, dense=_DENSE)
        sheet.key_point("all of it together; 10 dB more is ten times as likely", Mark(sheet.theme.ink, "D", (), ""))
        if len(counted) > REASONS:
            sheet.note(f"{len(counted) - REASONS} weaker reasons of the first are not named.")
        sheet.foot("Decibans: ten times the logarithm of a ratio of likelihoods (Good 1950).")
        sheet.foot(of_rules(self._diagnosis))
        return sheet.finish(self._in_words(drawn_too, counted[:REASONS]))

    def _fault(self, ranked: Ranked, middle: float) -> None:
        reasons = sorted((r for r in ranked.reasons if r.counted), key=lambda r: -abs(r.weight))
        right = left = 0.0
        prior = ranked.prior
        for weight, mark, name in (
            (prior, self._prior, f"prior {ranked.fault}"),
            *((r.weight, self._for if r.weight > 0 else self._against, f"{ranked.fault} {r.rule}") for r in reasons),
        ):
            if weight > 0:
                self._piece(right, weight, middle, mark, name)
                right += weight
            else:
                self._piece(left, weight, middle, mark, name)
                left += weight
        total = Mark(self._sheet.theme.ink, "D", (), "")
        self._sheet.points([ranked.weight + prior], [middle], total, size=6.5, gid=f"total {ranked.fault}")
        self._ends = [min(self._ends[0], left), max(self._ends[1], right, ranked.weight + prior)]

    def _reason(self, reason: Reason, middle: float) -> None:
        self._piece(
            0.0, reason.weight, middle, self._for if reason.weight > 0 else self._against, f"only {reason.rule}"
        )

    def _piece(self, start: float, width: float, middle: float, mark: Mark, gid: str) -> None:
        ground = self._sheet.theme.ground
        self._sheet.axes.add_patch(
            Rectangle(
                (start, middle - BAR / 2),
                width,
                BAR,
                facecolor=mixed(mark.colour, ground, _DENSE),
                edgecolor=mark.colour,
                hatch=mark.hatch,
                linewidth=0.9,
                zorder=3,
                gid=gid,
            )
        )

    @staticmethod
    def _in_words(faults: list[Ranked], reasons: list[Reason]) -> str:
        told = [f"{r.title} {percent(r.probability)}" for r in faults]
        why = [f"{reason.title} ({reason.weight:+.1f} dB)" for reason in reasons]
        return f"Likeliest: {'; '.join(told)}. For and against the first: {'; '.join(why) or 'nothing'}."
