"""How the loops of this package are compiled: see `riskcalc.jit`."""

from riskcalc.jit import compiled, inner

__all__ = ["compiled", "inner"]
