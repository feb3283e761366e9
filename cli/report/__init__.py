"""Pictures, pages and annotated clips made from measurements."""
