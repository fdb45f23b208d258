"""For all tests: property tests untimed, and child processes that start within milliseconds."""

from __future__ import annotations

import os
import tempfile
from multiprocessing import forkserver, set_forkserver_preload
from pathlib import Path

import pytest
from hypothesis import settings

# The secret that authenticates unfinished changes of a folder; never in the home of who tests.
os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="pinfolio-state-")

# No test passes or fails by time. Where a change is judged, by the same examples each time; a
# developer's own runs try new ones.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same examples", deadline=None, derandomize=True)
judged = os.environ.get("PINFOLIO_SAME_EXAMPLES") == "1"
settings.load_profile("same examples" if judged else "untimed")


@pytest.fixture(scope="session", autouse=True)
def _process_to_copy() -> None:
    """Start the process of which children are copies before the first child decides on imports."""
    set_forkserver_preload(["__main__", "child_processes"])
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(Path(__file__).parent), prepend=os.pathsep)
        forkserver.ensure_running()
