"""Compiled code kept on disk: found again, sealed, compiled anew when damaged or stale, never in the way of a run."""

from __future__ import annotations

import errno
import importlib.util
import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numba
import numpy as np
import pytest

from riskcalc import jit

SOURCE = """
import numpy as np
from riskcalc.jit import compiled, inner

@inner
def twice(value):
    return {factor} * value

@compiled
def total(values):
    found = 0.0
    for value in values:
        found += twice(value)
    return found
"""


@pytest.fixture
def loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., ModuleType]:
    """Return what loads a module with one loop, as a new process would, its code kept in a folder of its own."""
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "kept"))
    # Bytecode goes by the time of the file, which stays here.
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    file = tmp_path / "loops.py"

    def load(factor: float = 2.0) -> ModuleType:
        jit.source_digest.cache_clear()
        file.write_text(SOURCE.format(factor=factor), encoding="utf-8")
        os.utime(file, (1_000_000, 1_000_000))  # the time of the file must not decide
        spec = importlib.util.spec_from_file_location("loops", file)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    return load


def total(module: ModuleType) -> tuple[float, bool]:
    """Return the sum over 0 to 9, and whether the code came from disk."""
    return module.total(np.arange(10.0)), bool(sum(module.total.stats.cache_hits.values()))


def kept(tmp_path: Path) -> Path:
    """Return the only file of kept code."""
    (found,) = (tmp_path / "kept").rglob("*.nbc")
    return found


def test_code_is_kept_and_found_again(loaded, tmp_path: Path) -> None:
    """The second process compiles nothing."""
    assert total(loaded()) == (90.0, False)
    assert total(loaded()) == (90.0, True)
    assert kept(tmp_path).stat().st_size > 1000
    assert kept(tmp_path) in jit.kept_code()


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.6, 0.9, 0.999])
def test_a_flipped_bit_is_noticed_and_compiled_anew(loaded, tmp_path: Path, share: float) -> None:
    """Damaged machine code never runs; the file is made good."""
    loaded().total(np.arange(10.0))
    path = kept(tmp_path)
    raw = bytearray(path.read_bytes())
    raw[int(share * len(raw))] ^= 16
    path.write_bytes(raw)
    assert total(loaded()) == (90.0, False)
    assert total(loaded()) == (90.0, True)


@pytest.mark.parametrize("content", [b"", b"x", bytes(5000), b"\x80\x05." * 40])
def test_a_file_with_other_content_is_replaced(loaded, tmp_path: Path, content: bytes) -> None:
    """Cut short, zeroed or garbled."""
    loaded().total(np.arange(10.0))
    kept(tmp_path).write_bytes(content)
    assert total(loaded()) == (90.0, False)
    assert total(loaded()) == (90.0, True)


def test_a_sealed_file_that_cannot_be_rebuilt_is_replaced(loaded, tmp_path: Path) -> None:
    """Written whole, but by something that is not numba."""
    module = loaded()
    module.total(np.arange(10.0))
    files = module.total._cache._cache_file
    (signature,) = module.total.signatures
    before = kept(tmp_path)
    files.save(module.total._cache._index_key(signature, module.total.targetctx.codegen()), ("not", "code"))
    assert kept(tmp_path) == before
    assert total(loaded()) == (90.0, False)
    assert total(loaded()) == (90.0, True)


def test_a_changed_source_is_stale_by_content(loaded) -> None:
    """A change in the loop that is called counts, though the entry point and the file's time stay as they were."""
    module = loaded()
    assert not jit.is_kept(module.total)
    module.total(np.arange(10.0))
    assert jit.is_kept(module.total)
    assert not jit.is_kept(loaded(factor=3.0).total)
    assert total(loaded(factor=3.0)) == (135.0, False)
    assert total(loaded(factor=2.0)) == (90.0, True)


def test_checked_and_unchecked_code_lie_apart(loaded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Code compiled without bounds checks is not taken for a run that asks for them."""
    loaded().total(np.arange(10.0))
    monkeypatch.setattr(numba.config, "BOUNDSCHECK", 1)
    assert total(loaded()) == (90.0, False)


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES])
def test_without_room_the_run_goes_on_and_says_so(loaded, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """A full or read-only disk costs the time to compile, nothing else."""

    def refuse(*_: object, **__: object) -> tuple[int, str]:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(jit.tempfile, "mkstemp", refuse)
    with pytest.warns(jit.CodeNotKept, match="NUMBA_CACHE_DIR"):
        assert total(loaded()) == (90.0, False)


def test_old_files_of_a_loop_make_room(loaded, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only so many versions of one loop stay."""
    monkeypatch.setattr(jit, "MOST_FILES", 2)
    for factor in (2.0, 3.0, 4.0, 5.0):
        assert total(loaded(factor)) == (45.0 * factor, False)
    assert len(list((tmp_path / "kept").rglob("*.nbc"))) == 2
