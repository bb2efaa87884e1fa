"""Tables: which rows, which values, why one is missing, and what each format makes of it."""

from __future__ import annotations

import csv
import io
import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError
from twogauge.output.tables import as_csv, as_json, as_markdown, as_text
from twogauge.quantities import PA_PER_INHG, PA_PER_PSI, STANDARD_ATMOSPHERE, Dimension, UnitSet, parse
from twogauge.refrigerants.fit_properties import States
from twogauge.table_set import MANIFEST, SetOptions, _Afresh, check_set, make_set, write_set
from twogauge.tables import MOST_ROWS, By, Missing, has_glide, make_table, pressure_rows, temperature_rows

R134A, R407C, R744 = (refrigerants.get(name) for name in ("R134a", "R407C", "R744"))
PURE_AND_BLEND = [R134A, R407C]


def kelvin(text):
    return parse(text, Dimension.TEMPERATURE).value


def by_temperature(chosen, first="-40F", last="150F", barometer=STANDARD_ATMOSPHERE):
    index = temperature_rows(UnitSet.US, low=kelvin(first), high=kelvin(last))
    return make_table(chosen, By.TEMPERATURE, index, barometer=barometer, air="sea level assumed")


def by_pressure(chosen, units=UnitSet.US, barometer=STANDARD_ATMOSPHERE):
    index = pressure_rows(units, chosen, barometer)
    return make_table(chosen, By.PRESSURE, index, barometer=barometer, air="sea level assumed")


# -- rows ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("units", "first", "last", "step"),
    [(UnitSet.US, "-40F", "150F", "5F"), (UnitSet.SI, "-40C", "66C", "2C"), (UnitSet.METRIC, "-40C", "66C", "2C")],
)
def test_temperatures_are_round_in_the_readers_units(units, first, last, step):
    rows = temperature_rows(units)
    assert rows[0] == pytest.approx(kelvin(first))
    assert rows[-1] == pytest.approx(kelvin(last))
    each = parse(step, Dimension.TEMPERATURE_DIFFERENCE).value
    assert np.diff(rows) == pytest.approx(np.full(len(rows) - 1, each))


def test_a_step_runs_from_the_first_row_and_does_not_pass_the_last():
    rows = temperature_rows(UnitSet.SI, low=kelvin("1C"), high=kelvin("12C"), step=5.0)
    assert rows == pytest.approx([kelvin("1C"), kelvin("6C"), kelvin("11C")])


def test_without_a_step_both_ends_are_there_and_the_rows_between_are_round():
    rows = temperature_rows(UnitSet.US, low=kelvin("3F"), high=kelvin("12F"))
    assert rows == pytest.approx([kelvin(text) for text in ("3F", "5F", "10F", "12F")])


def test_a_vacuum_has_round_inches_of_mercury_and_pressures_round_psi():
    gauge = pressure_rows(UnitSet.US, [R134A], STANDARD_ATMOSPHERE) - STANDARD_ATMOSPHERE
    inches = -gauge[gauge < 0] / PA_PER_INHG
    psi = gauge[gauge >= 0] / PA_PER_PSI
    assert list(inches.round(6)) == [15.0, 10.0, 5.0]
    assert list(psi[:4].round(6)) == [0.0, 5.0, 10.0, 15.0]
    assert psi[-1] % 10 == pytest.approx(0.0, abs=1e-6)


def test_a_step_in_psi_leaves_the_vacuum_its_round_inches():
    rows = pressure_rows(
        UnitSet.US,
        [R134A],
        STANDARD_ATMOSPHERE,
        low=STANDARD_ATMOSPHERE - 10 * PA_PER_INHG,
        high=STANDARD_ATMOSPHERE + 50 * PA_PER_PSI,
        step=25 * PA_PER_PSI,
    )
    gauge = rows - STANDARD_ATMOSPHERE
    assert gauge == pytest.approx(
        [-10 * PA_PER_INHG, -5 * PA_PER_INHG, 0, 25 * PA_PER_PSI, 50 * PA_PER_PSI], abs=0.01
    )


@pytest.mark.parametrize("units", list(UnitSet))
@given(barometer=st.floats(45e3, 108e3), name=st.sampled_from(refrigerants.names()))
def test_pressures_reach_over_the_range_of_a_machine_and_never_below_a_perfect_vacuum(units, barometer, name):
    one = refrigerants.get(name)
    rows = pressure_rows(units, [one], barometer)
    assert rows[0] > 0
    assert (np.diff(rows) > 0).all()
    hottest = min(kelvin("66C"), one.temperature_max())
    assert rows[-1] >= float(one.saturation_pressure(hottest)) * (1 - 1e-9)
    assert len(rows) < 150


@given(st.floats(-70, 80), st.floats(0.1, 100), st.one_of(st.none(), st.floats(0.1, 50)))
def test_rows_always_rise_and_stay_between_their_ends(first, span, step):
    low, high = first + 273.15, first + span + 273.15
    rows = temperature_rows(UnitSet.SI, low=low, high=high, step=step)
    assert rows[0] == pytest.approx(low, abs=1e-5)
    assert rows[-1] <= high + 1e-5
    assert (np.diff(rows) > 0).all()
    assert len(rows) <= MOST_ROWS + 1


@pytest.mark.parametrize(
    ("low", "high", "step", "words"),
    [
        ("20C", "10C", 5.0, "is not below"),
        ("20C", "20C", 5.0, "is not below"),
        ("0C", "50C", 0.0, "the step must be above zero"),
        ("0C", "50C", -5.0, "the step must be above zero"),
        ("0C", "50C", 0.001, f"more than {MOST_ROWS} rows"),
        ("0C", "50C", 1e-9, "too small"),
    ],
)
def test_rows_that_make_no_table_are_refused(low, high, step, words):
    with pytest.raises(InputError, match=words):
        temperature_rows(UnitSet.SI, low=kelvin(low), high=kelvin(high), step=step)


# -- values --------------------------------------------------------------------------------------------------------


def test_a_pure_fluid_has_one_column_and_a_blend_with_glide_two():
    table = by_temperature(PURE_AND_BLEND)
    assert [(column.refrigerant.id, column.phase) for column in table.columns] == [
        ("R134a", ""),
        ("R407C", "bubble"),
        ("R407C", "dew"),
    ]
    bubble, dew = table.columns[1].values, table.columns[2].values
    assert (bubble > dew).all()


def test_a_blend_that_boils_like_a_pure_fluid_has_one_column():
    assert not has_glide(refrigerants.get("R410A"))
    assert not has_glide(refrigerants.get("R507A"))
    assert has_glide(refrigerants.get("R404A"))


@pytest.mark.parametrize("name", ["R134a", "R407C", "R717"])
def test_a_table_by_pressure_is_the_inverse_of_one_by_temperature(name):
    one = refrigerants.get(name)
    forth = by_temperature([one])
    for column in forth.columns:
        back = make_table([one], By.PRESSURE, column.values, barometer=STANDARD_ATMOSPHERE, air="")
        same = next(c for c in back.columns if c.phase == column.phase)
        assert same.values == pytest.approx(forth.index, abs=1e-6)


def test_absolute_pressures_do_not_depend_on_the_air():
    low, high = by_temperature([R134A], barometer=80e3), by_temperature([R134A], barometer=101e3)
    assert (low.columns[0].values == high.columns[0].values).all()


def test_points_off_the_curve_are_missing_with_their_reason_and_never_extrapolated():
    table = by_temperature([R744], "-100F", "95F")
    column = table.columns[0]
    at = dict(zip(table.index.round(3), column.missing, strict=True))
    assert at[round(kelvin("-80F"), 3)] is Missing.BELOW
    assert at[round(kelvin("50F"), 3)] is None
    assert at[round(kelvin("85F"), 3)] is Missing.NEAR_CRITICAL
    assert at[round(kelvin("90F"), 3)] is Missing.SUPERCRITICAL
    assert [math.isnan(value) for value in column.values] == [reason is not None for reason in column.missing]


def test_pressures_off_the_curve_are_missing_with_their_reason():
    one = R744
    points = np.array([one.pressure_min() * 0.9, 3e6, (one.pressure_max() + one.critical_pressure) / 2, 9e6])
    column = make_table([one], By.PRESSURE, points, barometer=STANDARD_ATMOSPHERE, air="").columns[0]
    assert column.missing == (Missing.BELOW, None, Missing.NEAR_CRITICAL, Missing.SUPERCRITICAL)


def test_a_point_without_a_solution_is_missing_and_says_so():
    index = temperature_rows(UnitSet.SI, low=kelvin("0C"), high=kelvin("4C"))
    table = make_table(
        [R134A],
        By.TEMPERATURE,
        index,
        barometer=STANDARD_ATMOSPHERE,
        air="",
        solver=lambda _r, _phase, _by, points: np.where(points > kelvin("1C"), 3e5, np.nan),
    )
    assert table.columns[0].missing == (Missing.UNSOLVED, None, None)
    assert "gave no solution" in as_text(table, UnitSet.SI)


# -- formats -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", list(UnitSet))
@pytest.mark.parametrize("make", [by_temperature, by_pressure])
def test_a_terminal_table_fits_80_columns_and_its_digits_stand_below_each_other(make, units):
    chosen = [refrigerants.get(name) for name in ("R134a", "R1234yf", "R744", "R407C", "R449A", "R12", "R22", "R717")]
    text = as_text(make(chosen), units)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    blocks = text.split("\n\n")[1:-1]
    assert len(blocks) > 1
    for block in blocks:
        rows = block.splitlines()[2:]
        points = [[k for k, c in enumerate(row) if c == "."] for row in rows if "-  " not in row + "  "]
        full = [row for row in points if len(row) == max(map(len, points))]
        assert len({tuple(row) for row in full}) == 1


def test_terminal_text_is_plain_ascii_without_trailing_spaces():
    text = as_text(by_temperature(PURE_AND_BLEND), UnitSet.US)
    assert text.isascii()
    assert "\x1b" not in text
    assert all(line == line.rstrip() for line in text.splitlines())
    assert text.endswith("\n")


def test_vacuum_is_inches_of_mercury_and_explained_where_it_stands():
    text = as_text(by_temperature([R134A], "-40F", "0F"), UnitSet.US)
    at_minus_40 = next(line for line in text.splitlines() if line.startswith(" -40"))
    deficit = STANDARD_ATMOSPHERE - float(R134A.saturation_pressure(kelvin("-40F")))
    assert at_minus_40.split()[1] == f"{deficit / PA_PER_INHG:.1f}v"
    assert "v: inHg of vacuum" in text
    assert "v:" not in as_text(by_temperature([R134A], "0F", "20F"), UnitSet.US)
    assert "v:" not in as_text(by_temperature([R134A], "-40F", "0F"), UnitSet.SI)


def test_what_stands_in_a_terminal_table_is_what_the_curve_says():
    text = as_text(by_temperature([R134A], "0F", "150F"), UnitSet.US)
    rows = [line.split() for line in text.splitlines() if line and line.lstrip()[0].isdigit()]
    assert len(rows) == 31
    for temperature, pressure in rows:
        expected = (float(R134A.saturation_pressure(kelvin(f"{temperature}F"))) - STANDARD_ATMOSPHERE) / PA_PER_PSI
        assert float(pressure) == pytest.approx(expected, abs=0.0501)


def test_the_heading_says_refrigerant_units_gauge_and_air():
    table = by_temperature(PURE_AND_BLEND)
    for text in (as_text(table, UnitSet.METRIC), as_markdown(table, UnitSet.METRIC)):
        for words in ("R-134a", "R-407C", "bar gauge", "degC", "1.013 bar", "sea level assumed", "bubble", "dew"):
            assert words in text


def test_a_grade_that_is_not_the_best_is_shown_with_its_reason():
    text = " ".join(as_text(by_temperature([R407C]), UnitSet.US).split())
    assert R407C.grade != "checked"
    assert f"R-407C is graded '{R407C.grade}': {R407C.grade_reason}" in text
    assert R134A.grade == "checked"
    assert "graded" not in as_text(by_temperature([R134A]), UnitSet.US)


def test_a_dash_has_a_footnote_with_the_limit():
    text = " ".join(as_text(by_temperature([R744], "75F", "95F"), UnitSet.US).split())
    assert "- R-744: above the critical point at 87.8 degF" in text


@pytest.mark.parametrize("make", [by_temperature, by_pressure])
def test_csv_is_numbers_below_names_that_say_everything(make):
    table = make([R134A, R744])
    header, *rows = csv.reader(io.StringIO(as_csv(table, UnitSet.US)))
    assert any("psi gauge at 14.696 psi air" in name for name in header)
    assert any("degF" in name for name in header)
    assert header[1].startswith("R-134a")
    for row, value in zip(rows, table.columns[1].values, strict=True):
        assert (row[2] == "") == math.isnan(value)
        assert all(math.isfinite(float(field)) for field in row if field)


def test_csv_gives_a_vacuum_as_negative_pressure_in_the_same_unit():
    first = as_csv(by_temperature([R134A], "-40F", "0F"), UnitSet.US).splitlines()[1].split(",")
    expected = (float(R134A.saturation_pressure(kelvin("-40F"))) - STANDARD_ATMOSPHERE) / PA_PER_PSI
    assert float(first[1]) == pytest.approx(expected, abs=6e-4)
    assert expected < 0


def test_json_and_csv_say_the_same():
    table = by_temperature([R134A, R407C, R744])
    document = json.loads(as_json(table, UnitSet.METRIC))
    _, *rows = csv.reader(io.StringIO(as_csv(table, UnitSet.METRIC)))
    assert [column["refrigerant"] for column in document["columns"]] == ["R134a", "R407C", "R407C", "R744"]
    for told, row in zip(document["rows"], rows, strict=True):
        assert told["temperature"] == float(row[0])
        assert told["values"] == [float(field) if field else None for field in row[1:]]
    assert "above the critical point" in document["columns"][3]["missing"]


def test_every_row_of_a_markdown_table_has_the_same_cells():
    lines = [line for line in as_markdown(by_temperature(PURE_AND_BLEND), UnitSet.SI).splitlines() if line[:1] == "|"]
    assert len({line.count("|") for line in lines}) == 1
    assert len(lines) > 10


# -- the whole set -------------------------------------------------------------------------------------------------

SMALL = SetOptions(
    names=("R134a", "R407C", "R454B"),
    formats=("csv", "markdown"),
    by=By.TEMPERATURE,
    units=UnitSet.US,
    barometer=STANDARD_ATMOSPHERE,
    air="sea level assumed",
)


def test_a_set_has_the_same_bytes_each_time():
    assert make_set(SMALL) == make_set(SMALL)


@pytest.mark.parametrize("by", list(By))
def test_a_set_from_coolprop_agrees_with_the_shipped_curves(by):
    files = make_set(
        SetOptions(("R134a", "R454B"), ("json",), by, UnitSet.SI, STANDARD_ATMOSPHERE, "sea level assumed")
    )
    manifest = json.loads(files[MANIFEST])
    apart = manifest["furthest from the shipped curves / K"]
    # 5 mK is what the builder allows a curve; 0 would mean that the curve itself was printed
    assert all(0 < off <= 5e-3 for off in apart.values())
    assert set(apart) == {"R134a", "R454B"}
    assert "null" not in json.dumps(json.loads(files["R454B.json"])["rows"])
    assert json.loads(files["R454B.json"])["values from"].startswith("CoolProp")


def test_a_set_is_written_with_a_manifest_and_checks_clean(tmp_path):
    written = write_set(tmp_path / "tables", SMALL)
    assert sorted(written) == sorted(
        [MANIFEST, *(f"{name}{suffix}" for name in SMALL.names for suffix in (".csv", ".md"))]
    )
    assert sorted(path.name for path in (tmp_path / "tables").iterdir()) == sorted(written)
    assert check_set(tmp_path / "tables") == []


def test_a_check_tells_missing_changed_stale_and_extra_files_apart(tmp_path):
    import hashlib

    write_set(tmp_path, SMALL)
    (tmp_path / "R134a.csv").unlink()
    (tmp_path / "R407C.csv").write_text("somebody wrote here\n")
    (tmp_path / "note.txt").write_text("ours\n")
    # a file as an older version would have written it: its manifest agrees with it, a fresh one does not
    older = (tmp_path / "R454B.csv").read_text().replace(",", ";")
    (tmp_path / "R454B.csv").write_text(older)
    manifest = json.loads((tmp_path / MANIFEST).read_text())
    manifest["sha256"]["R454B.csv"] = hashlib.sha256(older.encode()).hexdigest()
    (tmp_path / MANIFEST).write_text(json.dumps(manifest))
    found = dict(sentence.split(": ", 1) for sentence in check_set(tmp_path))
    assert found["R134a.csv"].startswith("missing")
    assert found["R407C.csv"].startswith("changed")
    assert found["R454B.csv"].startswith("stale")
    assert found["note.txt"].startswith("extra")
    assert found[MANIFEST].startswith("stale")
    assert len(found) == 5


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        "[]",
        "null",
        '{"options": 3}',
        "[" * 50_000,
        json.dumps({"options": {"names": ["R134a"], "formats": ["exe"]}, "sha256": {}}),
    ],
)
def test_a_file_that_is_no_manifest_is_refused_with_a_sentence(tmp_path, text):
    (tmp_path / MANIFEST).write_text(text)
    with pytest.raises(InputError, match="is not the manifest of a set of tables"):
        check_set(tmp_path)


def test_a_folder_without_a_manifest_is_refused(tmp_path):
    with pytest.raises(InputError, match="has no manifest"):
        check_set(tmp_path)


def test_one_point_that_cannot_be_solved_does_not_take_the_others_with_it():
    class Stubborn:
        def states(self, temperatures, phase):
            if (np.abs(temperatures - 280.0) < 0.5).any():
                raise ValueError("no solution")
            unused = np.full(len(temperatures), np.nan)
            return States(R134A.saturation_pressure(temperatures, phase), unused, unused)

    found = _Afresh(Stubborn())(R134A, "dew", By.TEMPERATURE, np.array([270.0, 280.0, 290.0]))
    assert list(np.isnan(found)) == [False, True, False]
