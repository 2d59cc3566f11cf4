"""A machine's life: do failures come faster, what does keeping it cost, and when is it cheaper to swap it.

Pure calculations from times and amounts to numbers; the rules decide what the numbers mean. Nothing here
knows a database, a file or the command line.
"""
