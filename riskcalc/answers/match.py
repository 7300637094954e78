"""Every home with every kit: which kit for which home, and how sure that is."""

from riskcalc.answers.cells import Cell
from riskcalc.answers.match_result import cell_table, page_dict, result
from riskcalc.answers.matched import HomeMatch, Matching, matching
from riskcalc.answers.shelf import shelf_files

__all__ = ["Cell", "HomeMatch", "Matching", "cell_table", "matching", "page_dict", "result", "shelf_files"]
