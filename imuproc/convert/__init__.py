"""Sessions written anew in open formats, so that nothing is lost."""
