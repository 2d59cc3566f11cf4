"""Decision tables out and in as OMG DMN 1.5 XML; rules/DMN.md documents the subset.

`exporting` makes tables of a rulebook's files, `write` their XML; `read` reads XML by any tool, `importing`
makes rulebook files of it, and `saving` writes those that changed.
"""
