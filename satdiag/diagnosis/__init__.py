"""Which fault it is, how sure that is, and which test to do next: exact Bayesian inference over `faults.toml`."""
