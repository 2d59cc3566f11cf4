"""The command line: a thin door to the same core as the API.

Exit status 0: done. 1: the answer is "no" (a case fails, a decision comes out otherwise). 2: the input was
wrong. With `--json` standard output holds JSON alone; messages go to standard error.
No rule of the trade lives here.
"""
