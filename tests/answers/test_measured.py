"""Measured months: read as written, or refused with their line."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskcalc.answers.measured import month_name, month_number, read_measured
from riskcalc.errors import InputError

GOOD = "month,import_kwh,generation_kwh,bill\n2026-11,200,,61.5\n2026-12,210.5,12,-3\n2027-02,190,30,\n"


def test_months_are_read_as_written(tmp_path):
    """Order of months across a new year, gaps between months, empty cells, a negative bill."""
    (tmp_path / "m.csv").write_text("\ufeff" + GOOD, encoding="utf-8")
    found = read_measured(tmp_path / "m.csv")
    assert [month_name(number) for number in found.months] == ["2026-11", "2026-12", "2027-02"]
    assert np.diff(found.months).tolist() == [1, 2]
    assert found.values["import_kwh"].tolist() == [200.0, 210.5, 190.0]
    assert np.isnan(found.values["generation_kwh"][0])
    assert found.values["bill"][:2].tolist() == [61.5, -3.0]
    assert month_number("2026-13") is None


FAULTS = {
    "empty": ("", "line 1"),
    "another file": ("time,power_w\n2026-01-01,3\n", "line 1"),
    "a column twice": ("month,bill,bill\n2026-01,1,2\n", "line 1"),
    "no quantity": ("month\n2026-01\n", "line 1"),
    "a misspelt column": ("month,import_kw\n2026-01,3\n", "line 1"),
    "no rows": ("month,bill\n", "no figure"),
    "no figure": ("month,bill\n2026-01,\n", "no figure"),
    "month in words": ("month,bill\nMay 2026,3\n", "line 2, month"),
    "thirteenth month": ("month,bill\n2026-13,3\n", "line 2, month"),
    "the same twice": ("month,bill\n2026-01,3\n2026-01,4\n", "line 3, month"),
    "backwards": ("month,bill\n2026-02,3\n2026-01,4\n", "line 3, month"),
    "text": ("month,import_kwh\n2026-01,many\n", "line 2, import_kwh"),
    "negative": ("month,import_kwh\n2026-01,-5\n", "line 2, import_kwh"),
    "not a number": ("month,bill\n2026-01,nan\n", "line 2, bill"),
    "infinite": ("month,bill\n2026-01,inf\n", "line 2, bill"),
    "a decimal comma": ("month;bill\n2026-01;3,5\n", "line 1"),
    "a decimal comma in quotes": ('month,bill\n2026-01,"3,5"\n', "write decimals with a point"),
    "digits with underscores": ("month,bill\n2026-01,1_000\n", "line 2, bill"),
    "too many cells": ("month,bill\n2026-01,3,4\n", "line 2"),
    "a quote that never ends": ('month,bill\n"2026-01,3\n', "a quotation mark that is never closed"),
    "a null byte": ("month,bill\n2026-0\0,3\n", "m.csv"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_are_named_with_their_line(tmp_path, fault):
    """Each damage gives the file, the place and what is accepted."""
    content, said = FAULTS[fault]
    (tmp_path / "m.csv").write_text(content, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_measured(tmp_path / "m.csv")
    assert said in str(caught.value)
    assert "m.csv" in str(caught.value)
    assert "accepted:" in str(caught.value)


def test_files_that_cannot_be_read(tmp_path):
    """Nothing, a folder, a device, a file of megabytes and bytes that are no text are refused at once."""
    (tmp_path / "large.csv").write_bytes(b"month,bill\n" + b"2026-01,3\n" * 200_000)
    (tmp_path / "bytes.csv").write_bytes(b"month,bill\n\xff\xfe")
    for name in ("none.csv", "", "large.csv", "bytes.csv", "/dev/zero"):
        with pytest.raises(InputError):
            read_measured(tmp_path / name)


def test_all_faults_come_at_once(tmp_path):
    """Three faulty lines are three problems."""
    (tmp_path / "m.csv").write_text("month,bill\nx,3\n2026-01,y\n2025-01,4\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_measured(tmp_path / "m.csv")
    assert [problem.key.split(",")[0] for problem in caught.value.problems] == ["line 2", "line 3", "line 4"]


cells = st.sampled_from(["2026-01", "2026-02", "2027-05", "12.5", "-1", "", "nan", "1e400", '"', "\0", "x", "0"])


@settings(max_examples=300, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.binary(max_size=100)
    | st.lists(st.lists(cells, max_size=4), max_size=5).map(
        lambda rows: ("month,import_kwh,bill\n" + "\n".join(",".join(row) for row in rows)).encode()
    )
)
def test_any_bytes_are_months_or_refused(tmp_path_factory, content):
    """Whatever stands in the file, it is read into finite figures or refused in words."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content)
    problems = ()
    try:
        found = read_measured(path)
        assert (np.diff(found.months) > 0).all()
        assert any(np.isfinite(column).any() for column in found.values.values())
    except InputError as error:
        problems = error.problems
    assert all(problem.file and problem.given and problem.accepted for problem in problems)
