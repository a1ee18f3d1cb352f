"""A robot that never existed, with known truth. Shares nothing with the analysis."""
