"""Proofs about conditions."""
