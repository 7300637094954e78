"""The page of the workbench: its own template, style and script, and a policy that lets nothing else in."""

from __future__ import annotations

from importlib.resources import files

from riskcalc.pages.document import content_policy
from riskcalc.pages.look import COLOURS


def live_html() -> str:
    """Return the page; it asks for everything else with the token of its own address."""
    template = _own("live.html")
    return template.replace("/*style*/", live_style()).replace("/*script*/", live_script())


def live_style() -> str:
    """Return the style sheet of the workbench behind the colours of all our pages, light and dark."""
    light, dark = ("".join(f"--{name}:{pair[tone]};" for name, pair in COLOURS.items()) for tone in (0, 1))
    dark_screen = f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
    return f":root{{color-scheme:light dark;{light}}}{dark_screen}" + _own("live.css")


def live_script() -> str:
    """Return the script of the workbench: the editor of shapes first."""
    return _own("live.shape.js") + _own("live.js")


def live_policy() -> str:
    """Return the content policy: style and script known by their hashes, calls and frames to this server only."""
    known = content_policy(live_style(), live_script())
    return f"{known}; connect-src 'self'; frame-src 'self'; frame-ancestors 'none'"


def _own(name: str) -> str:
    return files("riskcalc.live").joinpath(name).read_text(encoding="utf-8")
