"""A lesson's statistics: comparison, permutation, reliability, whole profiles."""
