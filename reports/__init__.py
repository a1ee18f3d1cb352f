"""Analysis in, pages and files out."""
