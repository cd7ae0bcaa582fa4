"""The demo: an invented unit, its people, its motors, and six weeks of what happened there. Used by seed_demo alone."""
