"""How all tests run: samples are the same in every run, and no test is timed by the clock."""

from hypothesis import HealthCheck, settings

# A sample that fails once fails again. On a busy machine an example takes as long as it takes.
settings.register_profile(
    "same samples",
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("same samples")
