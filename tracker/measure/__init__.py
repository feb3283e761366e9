"""From a clip to its measurement, in six stages."""
