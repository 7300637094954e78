"""The charts of the page, one module per topic; each function returns an altair chart of a given width in pixels."""
