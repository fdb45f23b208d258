"""For all tests: property tests untimed."""

from __future__ import annotations

import os

from hypothesis import settings

# No test passes or fails by time. Where a change is judged, by the same examples each time; a
# developer's own runs try new ones.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same examples", deadline=None, derandomize=True)
judged = os.environ.get("PINFOLIO_SAME_EXAMPLES") == "1"
settings.load_profile("same examples" if judged else "untimed")
