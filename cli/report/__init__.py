"""What people look at: tables, pictures, pages and annotated clips made from measurements."""

__all__ = ["data_columns", "film", "page", "palette", "pictures", "quantities", "safety", "tables", "words"]
