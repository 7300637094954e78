"""What is not known: numbers that may be uncertain, draws of them, and figures with standard errors."""
