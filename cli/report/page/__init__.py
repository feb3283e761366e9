"""The lesson's page."""
