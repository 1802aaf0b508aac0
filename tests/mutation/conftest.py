"""These are no tests and have no examples; pytest need not import them. `build.py mutate` runs them."""

collect_ignore_glob = ["*.py"]
