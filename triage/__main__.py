"""`barrelwise`, also `python -m triage`."""

import os

# One decision is too small to share among threads; a numerical library that tries slows everything down.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

from triage.cli.main import main  # noqa: E402  # numpy reads the environment as it is imported

if __name__ == "__main__":
    main()
