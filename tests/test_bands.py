"""Bands of what is normal that move with the conditions: straight lines between rows, steps with another number."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.columns import from_readings
from twogauge.diagnosis import diagnose
from twogauge.errors import FileProblems
from twogauge.levels import judge
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import stack
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.work import Absent, Work

PACK = """\
pack: bands
faults:
  sound: {title: Sound, how_common: usual, nothing_wrong: yes, what_happens: It cools., source: from memory}
bands:
  vents_anywhere:
    level: vent_level
    normal: [0 degC, 20 degC]
    edge: 0 K
    baseline: 2 K
    source: from memory
  vents_on_buses:
    level: vent_level
    applies_to: {system: bus_ac}
    normal_at:
      - {ambient: 20 degC, normal: [4 degC, 8 degC]}
      - {ambient: 30 degC, normal: [6 degC, 14 degC]}
    shifts:
      - {field: humidity, above: 50 %, each: 10 %, low: 1 K, high: 2 K, steps: 3}
      - {field: engine_speed, below: 1000 rpm, each: 100 rpm, low: 0 K, high: 1 K, steps: 2}
    edge: 0 K
    baseline: 2 K
    source: from memory
"""


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bands")
    (folder / "pack.yaml").write_text(PACK, "utf-8")
    return compile_stack(stack([folder]))


def ends(program, **told):
    found = judge(Work(from_readings([Reading(vent_air="10 degC", **told)]), QUANTITIES, program.bands), "vent_level")
    assert not isinstance(found, Absent)
    return pytest.approx((float(found.low[0]) - 273.15, float(found.high[0]) - 273.15), abs=1e-9)


@pytest.mark.parametrize(
    ("told", "wanted"),
    [
        ({"ambient": "20 degC"}, (4, 8)),
        ({"ambient": "25 degC"}, (5, 11)),
        ({"ambient": "30 degC"}, (6, 14)),
        ({"ambient": "10 degC"}, (4, 8)),  # beyond the first row nothing is extrapolated
        ({"ambient": "45 degC"}, (6, 14)),
        ({"ambient": "25 degC", "humidity": "40 %"}, (5, 11)),
        ({"ambient": "25 degC", "humidity": "60 %"}, (6, 13)),
        ({"ambient": "25 degC", "humidity": "75 %"}, (7.5, 16)),
        ({"ambient": "25 degC", "humidity": "100 %"}, (8, 17)),  # no further than three steps
        ({"ambient": "25 degC", "engine_speed": "850 rpm"}, (5, 12.5)),
        ({"ambient": "25 degC", "engine_speed": "600 rpm"}, (5, 13)),
        ({"ambient": "25 degC", "engine_speed": "1500 rpm"}, (5, 11)),
        ({"ambient": "25 degC", "humidity": "60 %", "engine_speed": "900 rpm"}, (6, 14)),
    ],
)
def test_the_ends_move_with_the_conditions(program, told, wanted):
    assert ends(program, system="bus_ac", **told) == wanted


def test_without_the_ambient_the_plainer_band_stays(program):
    assert ends(program, system="bus_ac") == (0, 20)
    assert ends(program, system="car_ac", ambient="25 degC") == (0, 20)


@given(
    st.lists(st.tuples(st.sampled_from(["bus_ac", "car_ac"]), st.none() | st.floats(-10, 50)), min_size=1, max_size=6)
)
def test_rows_do_not_disturb_each_other(program, rows):
    readings = [
        Reading(vent_air="10 degC", system=system, **({} if t is None else {"ambient": f"{t} degC"}))
        for system, t in rows
    ]
    together = judge(Work(from_readings(readings), QUANTITIES, program.bands), "vent_level")
    for i, reading in enumerate(readings):
        alone = judge(Work(from_readings([reading]), QUANTITIES, program.bands), "vent_level")
        assert (together.low[i], together.high[i]) == (alone.low[0], alone.high[0])
        assert together.level.value[i] == alone.level.value[0]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("field: humidity", "field: humidty", "'humidty' is not a field known here; did you mean 'humidity'?"),
        (
            "above: 50 %, each",
            "above: 50 degC, each",
            "above: '50 degC' is a temperature, but a percentage belongs here",
        ),
        ("above: 50 %, each", "above: 50 %, below: 40 %, each", "write either above or below"),
        ("each: 10 %", "each: 0 %", "a step is greater than zero"),
        ("ambient: 30 degC", "ambient: 10 degC", "the rows must rise in ambient temperature"),
        ("[6 degC, 14 degC]", "[14 degC, 6 degC]", "the lower end comes first"),
        (
            "    normal_at:\n",
            "    normal: [1 degC, 2 degC]\n    normal_at:\n",
            "write either normal, with two ends, or",
        ),
        ("      - {ambient: 30 degC, normal: [6 degC, 14 degC]}\n", "", "normal_at needs at least two rows"),
        ("steps: 3", "steps: many", "'many' is not a whole number"),
    ],
)
def test_mistakes_are_told(tmp_path, old, new, message):
    assert old in PACK
    (tmp_path / "pack.yaml").write_text(PACK.replace(old, new, 1), "utf-8")
    with pytest.raises(FileProblems) as caught:
        compile_stack(stack([tmp_path]))
    assert message in str(caught.value)
    assert str(caught.value).startswith(f"{tmp_path}/pack.yaml:")


def test_a_band_around_a_target_stands_beside_a_quantity_that_is_no_field(tmp_path):
    hot_gas = """\
bands:
  hot_gas:
    level: discharge_level
    around: target_superheat
    normal: [10 K, 30 K]
    edge: 0 K
    baseline: 2 K
    source: from memory
"""
    (tmp_path / "pack.yaml").write_text(PACK.replace("bands:\n", hot_gas), "utf-8")
    reading = Reading(refrigerant="R134a", high_side="200 psi", discharge_line="180 degF", target_superheat="5 K")
    shown = {s.name: s for s in diagnose(reading, program=compile_stack(stack([tmp_path]))).derived}
    assert shown["discharge_superheat"].normal == pytest.approx((15.0, 35.0))
    assert shown["discharge_superheat"].judged_by == "target"
