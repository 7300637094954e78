"""Every home with every kit: which kit for which home, and how sure that is."""

from riskcalc.matching.cells import Cell
from riskcalc.matching.matched import HomeMatch, Matching, matching
from riskcalc.matching.result import cell_table, result
from riskcalc.matching.shelf import shelf_files

__all__ = ["Cell", "HomeMatch", "Matching", "cell_table", "matching", "result", "shelf_files"]
