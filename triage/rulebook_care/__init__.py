"""Looking after the rulebook: what is wrong in it, what its cases show, how it reads, what a change
does and says, how it comes into force, and what closed tickets teach.

Faults, reading and differences are functions of rulebooks alone; replays, publishing and learning read the
program's records. No rule of the trade lives here.
"""
