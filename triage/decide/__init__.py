"""One report, one decision: the chain in `pipeline.py`."""
