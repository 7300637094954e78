"""Light, cells and modules: from the sun's position to the power of an array, and whether it suits its input."""
