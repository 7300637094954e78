"""What every page of ours is made with: template, style sheet, and a policy that lets nothing in from outside."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from riskcalc.pages.charts.look import COLOURS


def html_document(template: str, *, script: str = "", **shown: Any) -> str:
    """Return a template of this package filled with what is shown, as one page that needs nothing beside it."""
    style = style_sheet()
    return page_template(template).render(
        policy=content_policy(style, script),
        style=Markup(style),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own file
        **shown,
    )


@cache
def page_template(name: str) -> Template:
    """Return a template of this package, compiled once."""
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=FunctionLoader(own_text),
    )
    environment.filters["drawn"] = Markup
    environment.filters["equation"] = equation_html
    return environment.get_template(name)


def equation_html(text: str) -> Markup:
    """Return an equation with what stands behind _ below the line and what stands behind ^ above it, braces joining."""
    said = str(escape(text))
    said = re.sub(r"_(?:\{([^}]*)\}|(\w))", lambda part: f"<sub>{part[1] or part[2]}</sub>", said)
    said = re.sub(r"\^(?:\{([^}]*)\}|(\w))", lambda part: f"<sup>{part[1] or part[2]}</sup>", said)
    return Markup(said)  # noqa: S704 - escaped above


def style_sheet() -> str:
    """Return the style sheet behind the colours of the charts, light and dark."""
    light = "".join(f"--{name}:{pair[0]};" for name, pair in COLOURS.items())
    dark = "".join(f"--{name}:{pair[1]};" for name, pair in COLOURS.items())
    dark_screen = f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
    return f":root{{{light}}}{dark_screen}\n{own_text('style.css')}"


def content_policy(style: str, script: str) -> str:
    """Return the content security policy: nothing from outside; our own style and script, known by their hashes."""
    scripts = f"script-src '{_hash(script)}'; " if script else ""
    return f"default-src 'none'; style-src '{_hash(style)}'; {scripts}base-uri 'none'; form-action 'none'"


def own_text(name: str) -> str:
    """Return a file of this package."""
    return files("riskcalc.pages").joinpath(name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"sha256-{digest}"
