"""Running a fault program as a process of its own, and reading the figures it prints last."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.faults import stage

ROOT = Path(__file__).resolve().parents[2]

trouble = stage.postgres_trouble()
needs_postgres = pytest.mark.skipif(bool(trouble), reason=trouble)
engines = pytest.mark.parametrize("engine", ["sqlite", pytest.param("postgres", marks=needs_postgres)])
needs_redis = pytest.mark.skipif(shutil.which("redis-server") is None, reason="redis-server is not installed")


def run(program: str, *arguments: str, patience: float = 400) -> tuple[int, dict[str, Any]]:
    """Its exit code and its figures; what it printed is the test's output."""
    command = [sys.executable, "-m", f"tests.faults.{program}", *arguments]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=patience)
    assert ended.stdout, ended.stderr
    print(ended.stdout, ended.stderr)
    return ended.returncode, json.loads(ended.stdout.splitlines()[-1])
