"""A year of a fleet, played: what a rulebook would spend, send and risk, before there is data."""
