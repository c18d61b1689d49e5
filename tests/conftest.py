"""How all tests run: samples are the same in every run, and no test is timed by the clock."""

import signal

from hypothesis import HealthCheck, settings

# A sample that fails once fails again. On a busy machine an example takes as long as it takes.
settings.register_profile(
    "same samples",
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("same samples")

# A shell lets what it starts in the background ignore Ctrl-C, and every process started here would
# inherit that: tests that interrupt one would wait in vain.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
