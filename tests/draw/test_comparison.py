"""Before and after as a picture: each value between the ends of what is normal on its own day."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pictures import READINGS, has, nothing_lies_on_anything, where
from twogauge.diagnosis import program_for
from twogauge.draw.comparison import comparison_picture
from twogauge.draw.look import PHONE
from twogauge.errors import InputError
from twogauge.reading import Reading, read_file
from twogauge.service.compare import compare

PROGRAM = program_for()


def compared(one, two):
    return compare(read_file(READINGS / one)[0], read_file(READINGS / two)[0], PROGRAM)


@pytest.mark.parametrize("more", [{}, {"size": PHONE}])
def test_values_lie_between_the_ends_of_normal_of_their_own_day(more):
    found = compared("bus_17_warm_vents.yaml", "bus_17_after_repair.yaml")
    picture = comparison_picture(found, **more)
    drawn = [change for change in found.changes if has(picture, f"after {change.before.name}")]
    assert {"low_side", "high_side", "superheat"} <= {change.before.name for change in drawn}
    for change in drawn:
        for day, shown in (("before", change.before), ("after", change.after)):
            [[x, _]] = where(picture, f"{day} {shown.name}")
            low, high = shown.normal
            assert x == pytest.approx(min(max((shown.value - low) / (high - low), -1.25), 2.25))
    assert where(picture, "after superheat")[0, 0] < 1.0 < where(picture, "before superheat")[0, 0]
    assert picture.title.startswith("It worked")
    assert "before, 2026-06-12" in picture.description
    nothing_lies_on_anything(picture)


def test_what_is_not_fair_is_said():
    found = compared("bus_17_warm_vents.yaml", "bus_17_after_repair.yaml")
    assert "same conditions" not in comparison_picture(found).description
    unfair = replace(found, short=("after",))
    assert "not taken under the same conditions" in comparison_picture(unfair).description


def test_words_alone_cannot_be_drawn():
    one, two = (Reading(low_side=word, high_side="normal") for word in ("low", "normal"))
    with pytest.raises(InputError, match="nothing can be drawn"):
        comparison_picture(compare(one, two, PROGRAM))
