"""Charts of the page."""
