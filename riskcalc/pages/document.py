"""What every page of ours is made with: template, style sheet, and a policy that lets nothing in from outside."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from riskcalc.language import language_now, translated
from riskcalc.pages.exhibit import Chart, Section, data_address
from riskcalc.pages.exhibits.glossary import with_links
from riskcalc.pages.figures import unbroken
from riskcalc.pages.look import COLOURS

TEMPLATE = "page.html.j2"
#: The script of each kind of block that moves.
LIVE_PARTS = {"explorer": "explorer.js", "own": "own_figures.js"}


@dataclass(frozen=True)
class Document:
    """A page before it is written out.

    title : of the window and of a shared link.
    heading, facts : what was asked; `facts` are short texts in one line.
    summary : one or two sentences for a shared link.
    options : (letter, title, price) of what is compared.
    picture : the chart that stands for the page where its link is shared, None without one.
    """

    title: str
    heading: str
    summary: str
    sections: tuple[Section, ...]
    facts: tuple[str, ...] = ()
    options: tuple[tuple[str, str, str], ...] = ()
    picture: Chart | None = None

    @property
    def detail(self) -> str:
        """Return the section with which the detail begins: the first after the answer and what belongs to it."""
        return next((part.key for part in self.sections if part.key not in ("answer", "right", "more")), "")


def html_document(document: Document) -> str:
    """Return the page as one file without a reference to anything outside it."""
    style, kinds = style_sheet(), {block.kind for section in document.sections for block in section.blocks}
    live = [name for name in LIVE_PARTS if name in kinds]
    scripts = ["files.js", *(["numbers.js"] if live else []), *(LIVE_PARTS[name] for name in live)]
    script = "".join(own_text(name) for name in scripts)
    picture = "" if document.picture is None else data_address(document.picture.picture(scale=0.75), "image/png")
    page = page_template(TEMPLATE).render(
        policy=content_policy(style, script),
        style=Markup(style),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own file
        document=document,
        picture=picture,
        language=language_now(),
    )
    return with_links(page)


def documented(sections: Sequence[Section | None]) -> tuple[Section, ...]:
    """Return the sections that have something to show."""
    return tuple(section for section in sections if section is not None)


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
    environment.globals["_"] = translated
    environment.filters["drawn"] = Markup
    environment.filters["unbroken"] = unbroken
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
    """Return the content security policy: nothing from outside; our own style and script, known by their hashes.

    Pictures may come from the page itself, so that a chart can be saved as PNG.
    """
    return (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def own_text(name: str) -> str:
    """Return a file of this package."""
    return files("riskcalc.pages").joinpath(name).read_text(encoding="utf-8")


def card_html(title: str, sentence: str, rows: Sequence[tuple[str, str, str]]) -> str:
    """Return a small card of an answer, as a notebook shows it; every text is escaped.

    Each row is a name, a figure and a remark.
    """
    lines = Markup("").join(
        Markup("<tr><th scope='row' style='text-align:left'>{}</th><td><b>{}</b></td><td>{}</td></tr>").format(*row)
        for row in rows
    )
    body = Markup("<div><p><b>{}</b></p><p>{}</p><table>{}</table></div>").format(escape(title), sentence, lines)
    return str(body)


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"sha256-{digest}"
