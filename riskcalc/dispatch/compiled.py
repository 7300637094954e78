"""How the kernels are compiled: see `riskcalc.jit`."""

from riskcalc.jit import compiled, inlined, inner, written_out

__all__ = ["compiled", "inlined", "inner", "written_out"]
