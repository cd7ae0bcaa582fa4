"""Long runs: the server killed under load, a whole shift's tablets at once. In full: `python -m tests.soak`."""
