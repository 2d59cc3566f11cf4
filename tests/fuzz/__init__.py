"""Doors fed with what nobody would write: each input is accepted or refused, anything else is a finding.

`doors` lists them; `test_doors` tries a few inputs at each in the everyday run, and every finding kept in
`corpus/`; `nightly` goes on for millions, guided by coverage.
"""
