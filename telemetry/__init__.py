"""The domain: what a log, a robot, a match and a finding are, and all that is computed from them."""
