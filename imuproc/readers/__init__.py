"""Layer 2: path to Recording; one small file per format."""
