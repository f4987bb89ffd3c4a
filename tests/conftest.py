"""What holds for every test: no property is judged by the clock."""

import os

from hypothesis import HealthCheck, settings

# A slow machine, or one under load, is no fault of the property under test.  The parent is named
# because hypothesis starts from another one where CI is set, and that tries the same examples
# every time.
settings.register_profile(
    "without a clock",
    parent=settings.get_profile("default"),
    deadline=None,
    # Half as many examples as there are where CI is set: whoever waits runs them often.
    max_examples=100 if os.environ.get("CI") else 50,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("without a clock")
