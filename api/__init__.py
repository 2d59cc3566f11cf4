"""The HTTP door: Flask, flask-smorest and marshmallow over `triage.program.Program`.

Blueprints are cut by user: `calls` (agent), `machines` (technician), `pages` (the symptom form), `health`.
No rule of the trade lives here; a view reads, calls the program, and writes.
"""
