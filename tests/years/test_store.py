"""Arrays kept on disk: found again, safe when shared, tolerant of damage, bounded."""

import ast
import multiprocessing
import os
import stat
from pathlib import Path

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.study.model import world_of
from riskcalc.years import store
from riskcalc.years.pools import YearsAtHand
from riskcalc.years.store import Store, user_store


def content(seed=1, length=1000):
    """Arrays of several kinds and the plain values that travel with them."""
    rng = np.random.default_rng(seed)
    return {
        "watts": rng.random((3, length)).astype(np.float32),
        "flags": rng.random(7) > 0.5,
        "place": 51.5,
        "notes": ("one", "two"),
        "source": "made up \N{DEGREE SIGN}",
    }


def same(one, two):
    """Whether two contents agree to the last bit."""
    return one.keys() == two.keys() and all(
        np.array_equal(value, two[name]) if isinstance(value, np.ndarray) else value == two[name]
        for name, value in one.items()
    )


def refuse():
    """Stand in for work that must not be done again."""
    raise AssertionError("made again")


def test_what_was_made_comes_back_to_the_bit(tmp_path):
    """A second call with the same key makes nothing and returns the same bits, tuples and texts; arrays read-only."""
    kept_here = Store(tmp_path)
    first = kept_here.kept("thing", "key", content)
    again = kept_here.kept("thing", "key", refuse)
    assert same(first, content())
    assert same(again, content())
    assert not again["watts"].flags.writeable
    with pytest.raises(AssertionError, match="made again"):
        kept_here.kept("thing", "other key", refuse)


def test_without_a_folder_everything_is_made_each_time():
    """Switched off, nothing is kept."""
    kept_here = Store(None)
    kept_here.kept("thing", "key", content)
    with pytest.raises(AssertionError, match="made again"):
        kept_here.kept("thing", "key", refuse)


def entry(tmp_path):
    """Return the only entry."""
    (found,) = (path for path in tmp_path.iterdir() if path.name.startswith("thing-"))
    return found


def cut_short(place):
    """End a file in its middle."""
    path = place / "watts.npy"
    os.truncate(path, path.stat().st_size // 2)


def blank_end(place):
    """Blank the last bytes, as a write that never reached the disk would."""
    path = place / "watts.npy"
    raw = path.read_bytes()
    path.write_bytes(raw[:-64] + bytes(64))


def remove_file(place):
    """Remove one of the arrays."""
    (place / "flags.npy").unlink()


def remove_list(place):
    """Remove the file that says what belongs to the entry."""
    (place / "entry.json").unlink()


def garble_list(place):
    """Write half a line of JSON."""
    (place / "entry.json").write_text('{"plain": {"pl', encoding="utf-8")


def wrong_kind(place):
    """Write JSON of another shape."""
    (place / "entry.json").write_text("[1, 2]", encoding="utf-8")


def objects_inside(place):
    """Smuggle in an array of Python objects, which could run code on loading."""
    np.save(place / "flags.npy", np.array([{}], dtype=object), allow_pickle=True)
    listed = store._opened((place / "entry.json").read_text(encoding="utf-8"))
    listed["files"]["flags"] = store._fingerprint(place / "flags.npy")
    (place / "entry.json").write_text(store._sealed(listed), encoding="utf-8")


def another_place(place):
    """Change one digit of a plain value."""
    path = place / "entry.json"
    path.write_text(path.read_text(encoding="utf-8").replace("51.5", "51.6"), encoding="utf-8")


@pytest.mark.parametrize(
    "damage",
    [cut_short, blank_end, remove_file, remove_list, garble_list, wrong_kind, objects_inside, another_place],
)
def test_damage_is_noticed_and_made_good(tmp_path, damage):
    """A damaged entry is dropped and made anew, once; it never reaches the caller."""
    kept_here = Store(tmp_path)
    kept_here.kept("thing", "key", content)
    damage(entry(tmp_path))
    calls = []
    found = kept_here.kept("thing", "key", lambda: calls.append(1) or content())
    assert calls == [1]
    assert same(found, content())
    assert same(kept_here.kept("thing", "key", refuse), content())


@pytest.mark.parametrize("place", np.linspace(0.001, 0.999, 12))
def test_a_flipped_bit_anywhere_in_a_large_file_is_noticed(tmp_path, place):
    """Every byte of a file counts, not a sample of places: 4 MB, one bit flipped."""
    kept_here = Store(tmp_path)
    kept_here.kept("thing", "key", lambda: {"watts": np.arange(1_000_000, dtype=np.float32)})
    path = entry(tmp_path) / "watts.npy"
    raw = bytearray(path.read_bytes())
    raw[int(place * len(raw))] ^= 4
    path.write_bytes(raw)
    again = kept_here.kept("thing", "key", lambda: {"watts": np.zeros(3)})
    assert np.array_equal(again["watts"], np.zeros(3))


def make_at_once(folder, ready):
    """Make the same entry as another process, both starting at the same moment."""
    ready.wait()
    assert same(Store(folder).kept("thing", "key", lambda: content(length=200_000)), content(length=200_000))


def test_runs_that_share_the_folder_do_not_mix(tmp_path):
    """Four processes that make one entry at the same time all get it whole; one entry and no scrap stays behind."""
    spawn = multiprocessing.get_context("fork")
    ready = spawn.Barrier(4)
    runs = [spawn.Process(target=make_at_once, args=(tmp_path, ready)) for _ in range(4)]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    assert [run.exitcode for run in runs] == [0] * 4
    assert len(list(tmp_path.iterdir())) == 1


def test_what_was_unused_longest_goes_first(tmp_path):
    """Above the limit the entry that was used least recently is dropped, the newest never."""
    size = content(length=100_000)["watts"].nbytes
    kept_here = Store(tmp_path, limit_bytes=int(2.5 * size))
    for index, key in enumerate(("old", "middle")):
        kept_here.kept("thing", key, lambda: content(length=100_000))
        made = max(tmp_path.iterdir(), key=lambda path: path.stat().st_ctime_ns)
        os.utime(made / "entry.json", (1000 + index, 1000 + index))
    kept_here.kept("thing", "old", refuse)  # used just now
    kept_here.kept("thing", "new", lambda: content(length=100_000))
    for key in ("old", "new"):
        kept_here.kept("thing", key, refuse)
    with pytest.raises(AssertionError, match="made again"):
        kept_here.kept("thing", "middle", refuse)


def test_an_entry_above_the_limit_is_not_kept(tmp_path):
    """What alone exceeds the limit is returned and not written."""
    kept_here = Store(tmp_path, limit_bytes=1000)
    assert same(kept_here.kept("thing", "key", content), content())
    assert list(tmp_path.iterdir()) == []


def test_scraps_of_killed_runs_are_removed(tmp_path):
    """A folder left half written an hour ago goes; one of a run that may still be at work stays."""
    old, young = tmp_path / ".writing-old", tmp_path / ".writing-young"
    for folder in (old, young):
        folder.mkdir()
    os.utime(old, (1000, 1000))
    Store(tmp_path).kept("thing", "key", content)
    assert not old.exists()
    assert young.exists()


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a user that permissions bind")
def test_a_folder_that_cannot_be_written_is_no_error(tmp_path):
    """Read-only: the content is made and returned."""
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    assert same(Store(tmp_path / "cache").kept("thing", "key", content), content())


def test_a_place_that_is_no_folder_is_no_error(tmp_path):
    """Where a file stands in the way of the folder, the content is made and returned."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    assert same(Store(tmp_path / "file" / "cache").kept("thing", "key", content), content())


def test_the_environment_says_where_and_how_much(monkeypatch, tmp_path):
    """RISKCALC_CACHE moves or switches off, XDG_CACHE_HOME is the next choice, ~/.cache the last."""
    monkeypatch.setenv("RISKCALC_CACHE", str(tmp_path / "own"))
    monkeypatch.setenv("RISKCALC_CACHE_GIB", "0.5")
    assert user_store() == Store(tmp_path / "own", 2**29)
    monkeypatch.setenv("RISKCALC_CACHE", "off")
    assert user_store().folder is None
    monkeypatch.delenv("RISKCALC_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert user_store().folder == tmp_path / "xdg" / "riskcalc"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert user_store().folder == tmp_path / ".cache" / "riskcalc"


@pytest.mark.parametrize(
    ("name", "given"),
    [("RISKCALC_CACHE_GIB", given) for given in ("nan", "inf", "-1", "many", "1e400")]
    + [("RISKCALC_CACHE", "~nobody-of-this-name/cache")],
)
def test_a_setting_that_is_no_size_or_no_place_is_refused(monkeypatch, name, given):
    """Named with what was given and what is accepted, not a traceback and not a default in silence."""
    monkeypatch.setenv(name, given)
    with pytest.raises(InputError) as refused:
        user_store()
    (problem,) = refused.value.problems
    assert (problem.file, problem.key) == ("environment", name)
    assert problem.given.startswith(given)


def pool_imports():
    """Return the names below riskcalc of all that `pools` imports, directly or not, scenario and kernels aside."""
    package = Path(store.__file__).parents[1]
    seen, waiting = set(), ["years"]
    while waiting:
        name = waiting.pop()
        if name in seen or name in ("", "scenario", "dispatch", "errors"):
            continue
        seen.add(name)
        for path in [*package.glob(f"{name}.py"), *package.glob(f"{name}/*.py")]:
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ImportFrom) and node.module.split(".")[0] == "riskcalc":
                    named = [node.module.partition(".")[2]] if "." in node.module else [a.name for a in node.names]
                    waiting += [part.split(".")[0] for part in named]
    return seen


def test_every_source_that_makes_pools_is_in_the_key():
    """What `pools` imports is what ties kept entries to the code: a change of it makes them stale."""
    package = Path(store.__file__).parents[1]
    assert {"years", "weather", "demand"} <= pool_imports() <= {*store.POOL_SOURCES, "__version__"}
    for name in store.POOL_SOURCES:
        assert (package / name).is_dir() or (package / f"{name}.py").is_file(), f"{name} has moved"


def pool_arrays(world):
    """Return every array of a world's pools by name."""
    pools = world.pools
    named = {
        f"weather.{name}": getattr(pools.weather, name) for name in ("ghi", "dni", "dhi", "temp_air", "wind_speed")
    }
    named |= {
        f"demand.{name}": getattr(pools.demand, name)
        for name in ("run_w", "run_minutes", "first_run", "wired_w", "day_rank", "slot_day")
    }
    return named | {"solar_w": pools.solar_w, "charge_allowed": pools.charge_allowed}


def test_pools_from_disk_are_those_made_afresh(read_small, tmp_path):
    """Weather, demand and sun of a scenario, from disk and made, agree to the last bit, texts included."""
    scenario = read_small("study.pool_years=3")
    made = world_of(scenario, YearsAtHand(Store(None)))
    for _ in range(2):
        kept = world_of(scenario, YearsAtHand(Store(tmp_path / "cache")))
        for name, array in pool_arrays(made).items():
            assert np.array_equal(array, pool_arrays(kept)[name]), name
        assert kept.pools.weather.source == made.pools.weather.source
        assert kept.pools.demand.notes == made.pools.demand.notes
        assert kept.pools.demand.basis == made.pools.demand.basis
    assert sorted(path.name.split("-")[0] for path in (tmp_path / "cache").iterdir()) == ["demand", "solar", "weather"]


@pytest.mark.parametrize(
    ("change", "kinds"),
    [
        ("purchase.price=700", ""),
        ("tariff.rates.day.import_price_per_kwh=0.5", ""),
        ("study.draws=32", ""),
        ("home.surfaces.balcony.shading=0.2", "solar"),
        ("home.surfaces.balcony.azimuth_deg=100", "solar"),
        ("kit.module.power_w=440", "solar"),
        ("home.occupants=4", "demand"),
        ('home.appliances.kettle="elsewhere"', "demand"),
        ("study.step_minutes=30", "demand"),
        ("study.seed=7", "demand solar weather"),
        ("study.pool_years=2", "demand solar weather"),
        ('site.weather.region="severn"', "demand solar weather"),
    ],
)
def test_a_change_makes_anew_what_it_touches(read_small, tmp_path, change, kinds):
    """Each key of a scenario belongs to the pools it enters: changing it makes those anew and leaves the rest."""
    for changes in ((), (change,)):
        before = set(tmp_path.glob("*-*"))
        world_of(read_small(*changes), YearsAtHand(Store(tmp_path)))
    made = sorted({path.name.split("-")[0] for path in set(tmp_path.glob("*-*")) - before})
    assert made == kinds.split()


def test_a_parser_that_stumbles_is_asked_again(tmp_path, monkeypatch):
    """Python 3.11 may fail to read the head of an array while another thread parses: the entry stays and is read."""
    store = Store(tmp_path, limit_bytes=10**9)
    made = store.kept("weather", "key", lambda: {"light": np.arange(5.0)})
    load, stumbles = np.load, iter([True, True])

    def stumbling(*arguments, **options):
        if next(stumbles, False):
            raise SystemError("AST constructor recursion depth mismatch (before=102, after=41)")
        return load(*arguments, **options)

    monkeypatch.setattr(np, "load", stumbling)
    again = store.kept("weather", "key", lambda: pytest.fail("made anew"))
    assert again["light"].tolist() == made["light"].tolist()


def test_a_parser_that_always_stumbles_has_the_entry_made_anew(tmp_path, monkeypatch):
    """Then the content is made again, as for any entry that cannot be read."""
    store = Store(tmp_path, limit_bytes=10**9)
    store.kept("weather", "key", lambda: {"light": np.arange(5.0)})

    def stumbling(*_arguments, **_options):
        raise SystemError("AST constructor recursion depth mismatch")

    monkeypatch.setattr(np, "load", stumbling)
    assert store.kept("weather", "key", lambda: {"light": np.arange(3.0)})["light"].tolist() == [0.0, 1.0, 2.0]
