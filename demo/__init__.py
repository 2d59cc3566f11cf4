"""Lanternway Halts: an invented chain of ferry-terminal and rail-halt kiosks. Nothing in it is real."""
