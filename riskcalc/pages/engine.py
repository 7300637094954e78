"""Whether charts can be drawn here: the chart engine ends the whole process where it does not get its memory."""

from __future__ import annotations

import subprocess
import sys
from functools import cache

MISSING = (
    "the page has no charts: the chart engine does not start here, most likely too little memory (it reserves some "
    "35 GB of address space; see `ulimit -v`). The figures are complete"
)
_PROBE = "import vl_convert; vl_convert.vegalite_to_svg({'mark': 'point', 'data': {'values': [{}]}})"
_PROBE_S = 60.0


@cache
def engine_runs() -> bool:
    """Return whether the chart engine starts; tried in a process of its own where memory is limited."""
    if not _is_limited():
        return True
    try:
        tried = subprocess.run([sys.executable, "-c", _PROBE], capture_output=True, check=False, timeout=_PROBE_S)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return tried.returncode == 0


def page_without_charts(title: str) -> str:
    """Return a page that says why there is none, so that no earlier page is taken for this run's."""
    from markupsafe import escape

    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'">\n'
        f"<title>{escape(title)}</title></head>\n<body><h1>{escape(title)}</h1>\n"
        f"<p>riskcalc: {MISSING}. They lie beside this page.</p></body></html>\n"
    )


def _is_limited() -> bool:
    try:
        import resource
    except ImportError:  # no such limits on this system
        return False
    return any(
        resource.getrlimit(kind)[0] != resource.RLIM_INFINITY for kind in (resource.RLIMIT_AS, resource.RLIMIT_DATA)
    )
