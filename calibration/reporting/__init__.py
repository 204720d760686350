"""The owner's report: whether the cup is consistent, whether it changed, what was done, and how sure each is."""
