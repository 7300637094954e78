"""A small card of an answer, as a notebook shows it: a title, a sentence, a few figures."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup, escape


def card_html(title: str, sentence: str, rows: Sequence[tuple[str, str, str]]) -> str:
    """Return the card; every text is escaped. Each row is a name, a figure and a remark."""
    lines = Markup("").join(
        Markup("<tr><th scope='row' style='text-align:left'>{}</th><td><b>{}</b></td><td>{}</td></tr>").format(*row)
        for row in rows
    )
    body = Markup("<div><p><b>{}</b></p><p>{}</p><table>{}</table></div>").format(escape(title), sentence, lines)
    return str(body)
