"""Conditions in three values, and the engines that answer them."""
