"""Whatever stands in a scenario, it is read or refused in words: no traceback, no silent change."""

import contextlib
import math
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.scenario.fields import all_keys
from riskcalc.scenario.layers import Tree, override_tree, parse_toml
from riskcalc.scenario.reading import checked
from riskcalc.scenario.schema import Scenario
from riskcalc.scenario.uncertain import Uncertain
from riskcalc.uncertainty.quantity import Fixed

FLAT = (Path(__file__).parents[1] / "data" / "flat.toml").read_text(encoding="utf-8")
QUIET = {
    "derandomize": True,
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}

leaves = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**400), 10**400),
    st.floats(),
    st.text(max_size=20),
    st.sampled_from(["uniform", "triangular", "normal", "unit", "day", "00:30-07:30", "2300", "5 %"]),
)
WORDS = (
    "distribution low high mode mean sd median sigma alpha beta values weights minimum maximum source file column "
    "value x from"
)
words = st.sampled_from(WORDS.split())
junk = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=5),
    max_leaves=12,
)
#: Every key of the schema; named entries are those of flat.toml or new.
keys = st.sampled_from(sorted(all_keys(Scenario)))
kinds = {
    "uniform": ("low", "high"),
    "triangular": ("low", "mode", "high"),
    "pert": ("low", "mode", "high"),
    "normal": ("mean", "sd"),
    "lognormal": ("median", "sigma"),
    "beta": ("alpha", "beta", "low", "high"),
}
figures = st.floats(allow_nan=True, allow_infinity=True) | st.integers(-1000, 1000) | st.floats(-10, 10)


@st.composite
def distribution_tables(draw):
    """Return a table that names a distribution and gives it figures of any size, sometimes with a cut."""
    kind = draw(st.sampled_from(sorted(kinds)))
    table = {"distribution": kind} | {name: draw(figures) for name in kinds[kind]}
    for end in ("minimum", "maximum"):
        if draw(st.booleans()):
            table[end] = draw(figures)
    return table


@settings(max_examples=400, **QUIET)
@given(distribution_tables(), st.floats(-100, 100), st.floats(0, 100), st.booleans())
def test_what_is_read_lies_inside_the_bounds(table, low, width, above):
    """A distribution is refused, or everything it can draw lies inside the bounds of its key."""
    bounds = Uncertain(low, low + width, above=above)
    try:
        quantity = bounds.read(table)
    except ValueError:
        return
    values = quantity.quantile([1e-8, 0.01, 0.5, 0.99, 1 - 1e-8])
    assert all(math.isfinite(value) for value in values)
    assert all(bounds.holds(value, value) for value in values)


@settings(max_examples=300, **QUIET)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_plain_numbers_are_kept_exactly(value):
    """A plain number comes out as the very number that was written."""
    assert Uncertain().read(value) == Fixed(value=value)


@settings(max_examples=500, **QUIET)
@given(keys, junk)
def test_junk_at_any_key_is_refused_in_words(key, value):
    """Any value at any key gives a scenario or problems that each name file, key, given and accepted.

    `tests/fuzz/run.py` does it as often as one likes.
    """
    tree = Tree()
    tree.lay(parse_toml(FLAT.encode(), "flat.toml"), "flat.toml")
    tree.lay({"name": "flat"}, "flat.toml")
    parts = key.replace("<name>", "pair").split(".")
    tree.lay({parts[-1]: value}, "junk.toml", at=tuple(parts[:-1]))
    scenario, problems = checked(tree, "flat.toml")
    assert (scenario is None) <= bool(problems)
    for problem in problems:
        assert problem.file in ("flat.toml", "junk.toml")
        assert problem.key
        assert problem.given
        assert problem.accepted
        assert "pydantic" not in str(problem)
        assert len(str(problem)) < 2000


@settings(max_examples=200, **QUIET)
@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_are_toml_or_refused(content):
    """Any bytes are tables or an InputError, nothing else."""
    with contextlib.suppress(InputError):
        assert isinstance(parse_toml(content, "any.toml"), dict)


@settings(max_examples=200, **QUIET)
@given(st.text(max_size=60) | st.builds("{}={}".format, keys, st.text(max_size=30)))
def test_any_override_sets_one_key_or_is_refused(text):
    """An override is a tree with one top key, or one problem."""
    tree, problem = override_tree(text)
    assert (tree is None) != (problem is None)
    if tree is not None:
        assert len(tree) == 1


@settings(max_examples=60, **QUIET)
@given(
    st.integers(0, len(FLAT)),
    st.integers(0, 60),
    st.sampled_from(["", "\0", "=", "[", '"', "\n", "nan", "{}", "twice"]),
)
def test_damaged_files_are_read_or_refused(tmp_path, start, length, piece):
    """A scenario with a stretch of its text cut out, doubled or overwritten is read or refused in words."""
    if piece == "twice":
        piece = 2 * FLAT[start : start + length]
    path = tmp_path / "flat.toml"
    path.write_text(FLAT[:start] + piece + FLAT[start + length :], encoding="utf-8")
    with contextlib.suppress(InputError):
        read_scenario(path)
