"""Figures to HTML and to the screen."""
