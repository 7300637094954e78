"""riskcalc: how sure is it that a battery unit, a few panels or a rooftop system pays back?"""

__version__ = "0.1.0"
