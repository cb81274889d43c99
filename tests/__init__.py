import analysis  # noqa: F401  (before numpy, in every test process: one thread for its products)
