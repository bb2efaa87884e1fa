"""Names, facts and what a caller gets from the catalogue."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import UnknownNameError
from twogauge.refrigerants.catalogue import folded

ALL = refrigerants.names()
EVERY_SPELLING = [
    (spelling, summary.id)
    for summary in refrigerants.summaries()
    for spelling in (summary.id, summary.title, *summary.aliases)
]
CHLORINE = ("R11", "R114", "R12", "R123", "R124", "R1233zd(E)", "R22", "R500", "R502")
HYDROCARBONS = ("R290", "R600", "R600a", "R1270")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("R134a", "R134a"),
        ("134a", "R134a"),
        ("r-134A", "R134a"),
        ("R 134 a", "R134a"),
        ("HFC-134a", "R134a"),
        ("hfc134a", "R134a"),
        ("refrigerant 134a", "R134a"),
        ("HFO-1234yf", "R1234yf"),
        ("CO2", "R744"),
        ("carbon dioxide", "R744"),
        ("Propane", "R290"),
        ("isobutane", "R600a"),
        ("AMMONIA", "R717"),
        ("nh3", "R717"),
        ("r-410a", "R410A"),
        ("1234ze(e)", "R1234ze(E)"),
        ("R1234zeE", "R1234ze(E)"),
        ("CFC-12", "R12"),
    ],
)
def test_what_people_write_finds_the_refrigerant(name, expected):
    assert refrigerants.get(name).id == expected


@pytest.mark.parametrize(("spelling", "expected"), EVERY_SPELLING)
def test_every_spelling_leads_to_its_own_refrigerant(spelling, expected):
    # Also shows that no two refrigerants share a spelling.
    assert refrigerants.get(spelling).id == expected


@given(st.sampled_from(EVERY_SPELLING), st.data())
def test_case_spaces_and_hyphens_do_not_matter(case, data):
    spelling, expected = case
    noisy = "".join(data.draw(st.sampled_from([c.lower(), c.upper(), c + "-", " " + c])) for c in spelling)
    assert refrigerants.get(noisy).id == expected


@pytest.mark.parametrize(
    ("name", "suggestion"),
    [
        ("R404", "R404A"),
        ("410", "R410A"),
        ("R1234ze", "R1234ze(E)"),
        ("propan", "propane"),
        ("R134", "R134a"),
        ("R407", "R407A"),
    ],
)
def test_a_name_that_is_almost_right_is_suggested_and_not_taken(name, suggestion):
    with pytest.raises(UnknownNameError) as caught:
        refrigerants.get(name)
    assert suggestion in caught.value.suggestions
    assert suggestion in str(caught.value)


@pytest.mark.parametrize("name", ["", "R", "-", "water in the lines", "R99999", "r\x00\n", "ß" * 1000, "12\n"])
def test_a_name_nobody_knows_is_refused_in_one_line(name):
    with pytest.raises(UnknownNameError) as caught:
        refrigerants.get(name)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


@given(st.text(max_size=30))
def test_any_text_is_found_or_refused_and_never_a_crash(text):
    try:
        found = refrigerants.get(text)
    except UnknownNameError:
        return
    assert folded(text) in {folded(spelling) for spelling, expected in EVERY_SPELLING if expected == found.id}


def test_the_same_refrigerant_is_read_once():
    assert refrigerants.get("R134a") is refrigerants.get("hfc-134A")


def test_names_start_with_what_is_met_in_vehicles():
    assert ALL[:3] == ("R134a", "R1234yf", "R12")
    assert len(set(ALL)) == len(ALL)


def test_summaries_say_what_the_refrigerants_say():
    assert tuple(summary.id for summary in refrigerants.summaries()) == ALL
    for summary in refrigerants.summaries():
        refrigerant = refrigerants.get(summary.id)
        for field in dataclasses.fields(summary):
            assert getattr(summary, field.name) == getattr(refrigerant, field.name), (summary.id, field.name)


@pytest.mark.parametrize("name", ALL)
def test_every_fact_is_sourced_and_in_its_place(name):
    refrigerant = refrigerants.get(name)
    for fact in ("chemical_name", "kind", "safety_class", "lubricants", "aliases"):
        assert refrigerant.sources[fact].strip(), fact
    assert sum(key.startswith("cautions.") for key in refrigerant.sources) == len(refrigerant.cautions)
    assert bool(refrigerant.composition) == (refrigerant.kind != "pure") == ("composition" in refrigerant.sources)
    assert refrigerant.lubricants
    assert refrigerant.safety_class in {"A1", "A2L", "A2", "A3", "B1", "B2L"}
    if refrigerant.composition:
        assert math.isclose(sum(refrigerant.composition.values()), 1)
    # A limit that was not seen in print is not a fact; it must not be there.
    assert bool(refrigerant.exposure_limits) == ("exposure_limits" in refrigerant.sources)
    assert "from memory" not in refrigerant.sources.get("exposure_limits", "")


@pytest.mark.parametrize("name", ALL)
def test_kind_follows_the_numbering_and_glide_follows_the_kind(name):
    refrigerant = refrigerants.get(name)
    digits = "".join(c for c in name if c.isdigit())
    series = {"4": "zeotrope", "5": "azeotrope"}.get(digits[0] if len(digits) == 3 else "", "pure")
    assert refrigerant.kind == series
    if refrigerant.kind == "azeotrope":
        assert abs(refrigerant.glide) < 0.5
    if refrigerant.kind == "zeotrope":
        assert refrigerant.glide > 0.05


@pytest.mark.parametrize("name", ALL)
def test_cautions_fit_the_substance(name):
    refrigerant = refrigerants.get(name)
    text = " ".join(refrigerant.cautions)
    fluorinated = name not in (*HYDROCARBONS, "R717", "R744")
    assert ("phosgene" in text) == (name in CHLORINE)
    assert ("hydrogen fluoride" in text) == fluorinated
    assert ("lammable (class" in text) == (refrigerant.safety_class not in ("A1", "B1"))
    if "lammable (class" in text:
        assert f"(class {refrigerant.safety_class})" in text
    assert ("Never charge it into a vehicle" in text) == (name in HYDROCARBONS)
    assert ("Poisonous" in text or "Higher toxicity" in text) == refrigerant.safety_class.startswith("B")
    assert "goggles" in text
    # The last word is the maker's and the law's.
    assert "maker's procedure and the local codes come first" in refrigerant.cautions[-1]


def test_a_refrigerant_cannot_be_changed_by_its_reader():
    refrigerant = refrigerants.get("R404A")
    with pytest.raises(dataclasses.FrozenInstanceError):
        refrigerant.grade = "checked"
    for mapping in (
        refrigerant.composition,
        refrigerant.sources,
        refrigerant.exposure_limits,
        refrigerant.provenance,
    ):
        with pytest.raises(TypeError):
            mapping["R32"] = 1.0


def test_reading_a_refrigerant_loads_no_heavy_library():
    program = (
        "import sys, twogauge.refrigerants as r; r.get('R404A').temperature_at(5e5); r.summaries();"
        "print([m for m in ('CoolProp', 'yaml', 'pydantic', 'scipy', 'numpy.polynomial.chebyshev', "
        "'twogauge.refrigerants.build') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = done.stdout.strip()
    # numpy itself decides whether it loads its polynomials.
    assert loaded in ("[]", "['numpy.polynomial.chebyshev']")


def test_public_names_are_all_there():
    for name in refrigerants.__all__:
        assert hasattr(refrigerants, name)
