"""The command line: thin commands over the rooms below."""
