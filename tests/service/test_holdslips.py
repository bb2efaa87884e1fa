"""Numbers that make sense in another unit only: refused with their place; whatever a circuit can do is let through."""

from __future__ import annotations

import re

import pytest

import hold_simulation as simulation
from twogauge.errors import FileProblems
from twogauge.service.holdlog import read_log
from twogauge.service.holdslips import refuse_other_units


def refused(text, *, vacuum=True):
    with pytest.raises(FileProblems) as caught:
        refuse_other_units(read_log("<log>", text.encode(), vacuum=vacuum).rows)
    return str(caught.value)


def microns(*numbers):
    return "time [min], pressure [micron]\n" + "\n".join(f"{i}, {p:g}" for i, p in enumerate(numbers))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (microns(500, 503, 67, 505, 506, 509), "<log>:4:1: 67 micron does not go with .* but 67 Pa would"),
        (microns(500, 503, 0.505, 505, 506), "<log>:4:1: 0.505 micron .* '0.505 Torr' .that row alone"),
        (microns(500, 700, 1.2, 1100, 1300), "<log>:4:1: 1.2 micron .* 1.2 mbar would"),
        (microns(500, 503, 506, 508, 0.68), "<log>:6:1: 0.68 micron .* 0.68 mbar would"),
        (microns(0.5, 503, 506, 508, 510), "<log>:2:1: 0.5 micron .* 0.5 Torr would"),
        (microns(500, 503, 505, 67, 67.5, 68, 68.2), "<log>:5:1: 67 micron .* 67 Pa .* .all rows from there on"),
        ("0 min, 29 inHg vac\n1, 29\n2, 98\n3, 28.5\n", "<log>:3:1: 98 inHg vac .* but 98 kPa would"),
        ("0 min, 29 inHg vac\n1, 29\n2, 14.2\n3, 28.5\n", "<log>:3:1: 14.2 inHg vac .* '14.2 psi vac'"),
    ],
)
def test_a_number_of_another_unit_is_told_with_its_place(text, said):
    assert re.search(said, refused(text))


def test_so_it_is_under_pressure():
    assert "10.3 psi does not go" in refused("0 h, 150 psi\n1 h, 150\n2 h, 10.3\n3 h, 149\n", vacuum=False)


def test_all_of_them_are_told_in_one_go():
    assert len(refused(microns(500, 503, 67, 505, 506, 68, 509, 510)).splitlines()) == 2


@pytest.mark.parametrize(
    "numbers",
    [
        (500, 510, 3800, 540, 550),  # a slip that no unit explains is left to the judging
        (600, 600, 4580, 4590, 4600),  # ice that melts, 7.6 times as much at once
        (20000, 6000, 1500, 600, 420, 410, 405),  # the pump
        (0, 0, 0, 0),
        (400, 760, 1120, 1480),
    ],
)
def test_what_a_circuit_can_do_is_let_through(numbers):
    refuse_other_units(read_log("<log>", microns(*numbers).encode()).rows)


@pytest.mark.parametrize("seed", range(4000, 4021))
def test_simulated_logs_are_let_through(seed):
    log = simulation.simulate(seed, simulation.CAUSES[seed % 7])
    for how in ("", "dial"):
        refuse_other_units(read_log("<log>", simulation.as_text(log, how).encode()).rows)
