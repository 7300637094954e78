"""The chart engine: a process of its own that draws, refuses, ends, and is started anew."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from functools import partial
from pathlib import Path

import pytest
import vl_convert

from riskcalc.pages import drawing, engine
from riskcalc.pages.engine import EngineMissing, asked_drawings, asked_svg, made, png, start_engine
from riskcalc.pages.exhibits.cash import cash_chart

POINT = {"mark": "point", "data": {"values": [{"x": 1.0}]}, "encoding": {"x": {"field": "x", "type": "quantitative"}}}


def test_a_drawing_is_that_of_the_library() -> None:
    """SVG and PNG from the other process are what the library gives here, and many come in the order of the questions."""
    svg = drawing.lightened(vl_convert.vegalite_to_svg(POINT))
    assert [made(one) for one in [asked_svg(POINT, locale=None) for _ in range(3)]] == [svg] * 3
    assert png(svg, scale=0.5) == vl_convert.svg_to_png(svg, scale=0.5)


def test_what_the_engine_refuses_is_said_and_the_next_is_drawn() -> None:
    """A chart that is none ends in a ValueError, not in silence, and the engine goes on."""
    with pytest.raises(ValueError, match="ValueError"):
        made(asked_svg({"mark": 3}, locale=None))
    assert made(asked_svg(POINT, locale=None)).startswith("<svg")


def test_a_chart_is_built_from_figures_that_hold_drawings_on_their_way() -> None:
    """A page asks for some charts first and keeps them with its figures; a chart that is given all of these is still drawn."""
    curves = {name: [-100.0, 20.0] for name in ("p5", "p25", "p50", "p75", "p95")}
    figures = {"cash_balance": curves, "currency": "EUR", "page": {"drawings": {"odds": (Future(), Future())}}}
    (drawn,) = asked_drawings(partial(cash_chart, figures), (330,), language="en")
    assert made(drawn).startswith("<svg")


def test_an_engine_that_ends_is_said_and_started_anew() -> None:
    """A killed process leaves no one waiting; the next start draws again."""
    made(asked_svg(POINT, locale=None))
    process = engine._engine()._process
    assert process is not None
    process.kill()
    process.wait()
    with pytest.raises(EngineMissing, match="too little memory"):
        made(asked_svg(POINT, locale=None))
    start_engine()
    assert made(asked_svg(POINT, locale=None)).startswith("<svg")


def test_an_engine_that_takes_too_long_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drawing that never comes is not waited for without end."""
    monkeypatch.setattr(engine, "_PATIENCE_S", 0.01)
    with pytest.raises(EngineMissing):
        made(Future())


def test_the_engine_ends_with_the_process_that_started_it(tmp_path: Path) -> None:
    """However a run ends, no process is left behind, and Ctrl-C in the terminal says nothing of the engine."""
    code = (
        "import os, signal, sys, time\nfrom riskcalc.pages import engine\n"
        "engine.made(engine.asked_svg({'mark': 'point', 'data': {'values': [{}]}}, locale=None))\n"
        "print(engine._engine()._process.pid, flush=True)\n"
        "if sys.argv[1] == 'told': time.sleep(60)\n"
    )
    for how in ("itself", "told"):
        with subprocess.Popen(
            [sys.executable, "-c", code, how], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path,
            start_new_session=True,
        ) as run:  # fmt: skip
            assert run.stdout is not None
            pid = int(run.stdout.readline())
            if how == "told":
                os.kill(run.pid, signal.SIGTERM)
            _, said = run.communicate(timeout=30)
        assert said == b""
        ends = time.monotonic() + 10.0
        while Path(f"/proc/{pid}/cmdline").exists() and Path(f"/proc/{pid}/cmdline").read_bytes():
            assert time.monotonic() < ends
            time.sleep(0.02)


def test_a_file_in_the_folder_of_the_call_is_not_imported(tmp_path: Path) -> None:
    """A module beside the scenario that is named like one the engine needs is not run."""
    (tmp_path / "vl_convert.py").write_text("open('run', 'w')", encoding="utf-8")
    (tmp_path / "json.py").write_text("open('run', 'w')", encoding="utf-8")
    code = (
        "import sys; sys.path = [one for one in sys.path if one]\nfrom riskcalc.pages import engine\n"
        "print(engine.made(engine.asked_svg({'mark': 'point', 'data': {'values': [{}]}}, locale=None))[:4])"
    )
    done = subprocess.run([sys.executable, "-P", "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout == "<svg\n"
    assert not (tmp_path / "run").exists()
