"""The HTTP door: Flask, flask-smorest and marshmallow over `triage.programme.Programme`.

Blueprints are cut by user: `calls` (agent), `machines` (technician), `pages` (the symptom form), `health`.
No rule of the trade lives here; a view reads, calls the programme, and writes.
"""
