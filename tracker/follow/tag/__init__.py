"""The head by its tag."""
