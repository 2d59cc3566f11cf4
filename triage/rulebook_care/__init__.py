"""Looking after the rulebook: what is wrong in it, what its cases show, how it reads, and what a change says.

Everything here is a function of one rulebook, or of two; no ticket is read, no file written but by the doors.
No rule of the trade lives here.
"""
