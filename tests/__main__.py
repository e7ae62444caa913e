"""Run every check that counts: format, lint, types, tests, doctests, coverage."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
COVERAGE_FLOOR = 93  # [%] of lines and branches; it only ever rises

CHECKS = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy",),
    ("pytest", "-n", "auto", "--cov", "--cov-report=term:skip-covered", *sys.argv[1:]),
    ("coverage", "report", f"--fail-under={COVERAGE_FLOOR}", "--format=total"),
)

# every worker has a core of its own, so that matrix products need no threads
ENVIRONMENT = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

if __name__ == "__main__":
    for check in CHECKS:
        print(f"== {' '.join(check)}", flush=True)  # noqa: T201
        done = subprocess.run(
            [sys.executable, "-m", *check], cwd=ROOT, env=ENVIRONMENT, check=False
        )
        if done.returncode:
            sys.exit(done.returncode)
