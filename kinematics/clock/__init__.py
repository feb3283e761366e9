"""From a file's timestamps to true seconds."""
