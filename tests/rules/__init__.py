"""Tests of the default rulebook: its shape, its rules' own cases, its whole-report cases, its baseline."""
