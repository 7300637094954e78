"""What decides the answer, what is worth finding out, and whether a published claim holds.

Two ways lead there. `sobol` and `screening` run futures of their own, laid out so that each input's part can be told
exactly. Everything else (`given_data`, `odds`, `information`, `break_even`, `claims`) reads the futures of an
assessment that is there already.
"""
