"""Layer 0: the nouns. Import nothing but the standard library and numpy."""
