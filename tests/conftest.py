"""How property-based tests draw their examples.

The same ones each time, so that a change is judged by itself. To look for new ones:
`pytest --hypothesis-profile=search tests/readers`; what it finds becomes a test or an `@example`.
"""

from hypothesis import HealthCheck, settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile(
    "search", max_examples=2000, deadline=None, suppress_health_check=list(HealthCheck)
)
settings.load_profile("repeatable")
