"""For all tests: property tests untimed."""

from __future__ import annotations

import os
import tempfile

from hypothesis import settings

# The secret that authenticates unfinished changes of a folder; never in the home of who tests.
os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="pinfolio-state-")

# No test passes or fails by time. Where a change is judged, by the same examples each time; a
# developer's own runs try new ones.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same examples", deadline=None, derandomize=True)
judged = os.environ.get("PINFOLIO_SAME_EXAMPLES") == "1"
settings.load_profile("same examples" if judged else "untimed")
