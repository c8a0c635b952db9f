"""A study against a reference: runs compared, tables, pictures, words and a page for people."""
