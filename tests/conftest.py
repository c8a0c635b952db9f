"""How property-based tests draw their examples, and how many threads arithmetic takes.

The same examples each time, so that a change is judged by itself. To look for new ones:
`pytest --hypothesis-profile=search tests/readers`; what it finds becomes a test or an `@example`.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile(
    "search", max_examples=2000, deadline=None, suppress_health_check=list(HealthCheck)
)
settings.load_profile("repeatable")

# Workers of the tests fill the cores; threads of their matrices beside them would only wait for
# each other, at three times the time. numpy reads this when it is first loaded.
os.environ.setdefault("OMP_NUM_THREADS", "1")
