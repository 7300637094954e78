"""The page that is published: figures in (`data`), one self-contained HTML file out (`page`).

Importing this package loads nothing heavy; `page` loads jinja2 and the chart modules when it is called for.
"""
