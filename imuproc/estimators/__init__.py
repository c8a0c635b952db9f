"""Layer 6: (Motion, Contacts) to columns, with the uncertainty of each."""
