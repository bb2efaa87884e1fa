"""Published criteria of a vacuum at their edges, and what a dial shows at a height.

US Army TM 5-3805-280-24-1 (no more than 1 inHg in 5 min) and TM 5-3805-296-23-4 (no more than 2 inHg in 5 min), which
disagree; TM 5-3805-280-24-1 p. 7-29 (29 inHg at sea level, 1 inHg less for each 1000 ft); Lennox SPBH4 p. 20 (500
microns).
"""

from __future__ import annotations

import numpy as np
import pytest

from twogauge.packs import snapshot
from twogauge.quantities import standard_atmosphere
from twogauge.service.criteria import criteria_for
from twogauge.service.holdcriteria import judged

INHG = 3386.388640341
MICRON = 0.133322387415
AIR = 101_325.0
PACKS = snapshot.built_in()
MINUTES = np.arange(11) * 60.0


def one(test, name):
    (found,) = criteria_for(PACKS, test, name=name)
    return found


def held(criterion, pressures, step, error=0.0):
    """Judge pressures [Pa] at each of ten minutes, read to a step [Pa]."""
    return judged(criterion, MINUTES, np.asarray(pressures), np.full(11, step / 12**0.5), error).result


@pytest.mark.parametrize(
    ("lost", "strict", "lenient"),
    [
        (0.3, "passes", "passes"),
        (0.9, "passes", "passes"),
        (1.0, "too close to tell", "passes"),
        (1.1, "fails", "passes"),
        (1.9, "fails", "passes"),
        (2.0, "fails", "too close to tell"),
        (2.1, "fails", "fails"),
    ],
)
def test_an_inch_or_two_in_five_minutes(lost, strict, lenient):
    rising = AIR - 29.0 * INHG + lost * INHG * MINUTES / 300.0
    for name, said in (("hold_1_inhg_in_5_min", strict), ("hold_2_inhg_in_5_min", lenient)):
        assert held(one("vacuum_hold", name), rising, 0.02 * INHG) == said


@pytest.mark.parametrize(("inhg", "said"), [(29.2, "passes"), (29.0, "too close to tell"), (28.8, "fails")])
def test_the_vacuum_that_is_asked_of_a_dial(inhg, said):
    at_sea_level = np.full(11, AIR - inhg * INHG)
    assert held(one("vacuum_depth", "vacuum_29_inhg"), at_sea_level, 0.02 * INHG, error=0.1 * INHG) == said


@pytest.mark.parametrize(("microns", "said"), [(440, "passes"), (480, "too close to tell"), (560, "fails")])
def test_the_vacuum_that_is_asked_of_a_vacuum_gauge(microns, said):
    (deep,) = criteria_for(PACKS, "vacuum_depth", gauge="vacuum_gauge")
    assert held(deep, np.full(11, microns * MICRON), MICRON, error=50 * MICRON) == said


@pytest.mark.parametrize("feet", [1000, 3000, 5000])
def test_the_same_vacuum_shows_an_inch_less_on_a_dial_for_each_thousand_feet(feet):
    deep = one("vacuum_depth", "vacuum_29_inhg").reaches
    on_dial = (standard_atmosphere(feet * 0.3048) - deep) / INHG
    # 0.12 inHg: what the rule of thumb is off by at 5000 ft and below
    assert on_dial == pytest.approx(29.0 - feet / 1000.0, abs=0.12)
